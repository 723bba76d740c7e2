// SPDX-License-Identifier: MIT
//
// Objects that others stand in for (git-replace(1)): git reads the other one wherever the first is named, and so does
// ObjectStore. Ids stay what they were.
//
//     const Replaced replaced = readReplaced(repository);
//     const Oid read = replaced.standIn(id);
#pragma once

#include "core/git/oid.h"
#include "core/git/repository.h"

#include <unordered_map>

namespace espalier {

struct Replaced {
    std::unordered_map<Oid, Oid> objects; // object, the one to read in its stead
    // The object whose bytes stand for `id`; `id` itself when it is not replaced.
    Oid standIn(Oid id) const;
};

// From refs/replace/. Nothing where core.useReplaceRefs or GIT_NO_REPLACE_OBJECTS says so. A repository without such refs
// costs a look at a folder and at packed-refs.
Replaced readReplaced(const Repository& repository);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// HEAD and single refs, read through libgit2's handle. Private to core.
//
//     auto head = readHead(raw(repository));
//     if (head && head->text == "refs/heads/main") …
#pragma once

#include "core/git/handles.h"

#include <string>

namespace espalier {

// What HEAD says.
struct Head {
    std::string text; // full ref, or an id when detached
    Oid tip;          // zero when unborn
    bool detached = false;
    bool unborn() const { return !detached && tip.isZero(); }
    friend bool operator==(const Head&, const Head&) = default;
};
// Errors: Broken.
Result<Head> readHead(git_repository* handle);

// Zero when there is no such ref. Errors: Broken; Refused for a symbolic ref, which is never moved.
Result<Oid> readRef(git_repository* handle, const std::string& name);

} // namespace espalier

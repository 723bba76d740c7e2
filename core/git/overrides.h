// SPDX-License-Identifier: MIT
//
// What makes a commit's parents differ from what its object says: the shallow file, info/grafts, and refs/replace.
//
//     const Overrides overrides = readOverrides(repository);
//     if (const auto given = overrides.parentsOf(commit.id))
//         commit.parents = *given;
#pragma once

#include "core/git/oid.h"
#include "core/git/replaced.h"
#include "core/git/repository.h"

#include <optional>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <vector>

namespace espalier {

struct Overrides {
    std::unordered_set<Oid> shallow;                  // parents were left behind
    std::unordered_map<Oid, std::vector<Oid>> grafts; // commit, the parents it is given
    Replaced replaced;
    std::string fingerprint; // equal for equal contents

    // The parents that a commit is given in place of its object's own; nothing when those hold. A boundary of a shallow
    // clone has none, also where a graft names some, as in git (shallow.c; common practice).
    std::optional<std::vector<Oid>> parentsOf(const Oid& commit) const;
    bool empty() const { return shallow.empty() && grafts.empty() && replaced.objects.empty(); }
    // Lines for people.
    std::vector<std::string> notices() const;
};

Overrides readOverrides(const Repository& repository);

} // namespace espalier

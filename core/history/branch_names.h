// SPDX-License-Identifier: MIT
//
// Whether a new branch may have a name: by git's rules, and beside the branches that there are.
//
//     if (judgeBranchName(*snapshot, "topic/x").kind == BranchNameVerdict::Free) …
#pragma once

#include "core/history/snapshot.h"

#include <string>

namespace espalier {

struct BranchNameVerdict {
    enum Kind { Free, Malformed, Taken, Nested } kind = Free;
    // For Nested: the short name of the branch that this one would stand below, or that would stand below this one; a
    // branch is a file, and the other would want a folder of its name.
    std::string other;
};
// `name` is without refs/heads/.
BranchNameVerdict judgeBranchName(const Snapshot& snapshot, const std::string& name);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The branches that are not free to move, because a worktree stands on them.
//
//     for (const HeldBranch& held : heldBranches(repository))
//         if (held.ref == "refs/heads/topic/x" && !held.here) …
#pragma once

#include "core/git/repository.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

struct HeldBranch {
    std::string ref;             // "refs/heads/topic/x"
    std::filesystem::path where; // the worktree's folder
    bool here = false;           // it is the worktree that `repository` was opened for
};

// Those of all worktrees of the repository: what is checked out, what a rebase moves (its HEAD is then detached) and will move
// at its end, and where a bisection goes back to; as git-worktree(1) and git-rebase(1) keep them. A worktree whose folder is
// gone holds nothing, unless it is locked (on a disk that is not there now).
std::vector<HeldBranch> heldBranches(const Repository& repository);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Refs moved together, with the user's hook reference-transaction asked and told as git does it (githooks(5)): what moves refs
// outside of a change of branches and worktree, which asks the hook itself. Private to core.
//
//     auto notice = moveRefs(repository, {{"refs/remotes/origin/main", old, now}}, "espalier: fetch");
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/refs/ref_move.h"

#include <string>
#include <vector>

namespace espalier {

// What the hook reads: a line a ref.
std::string transactionLines(const std::vector<RefMove>& moves);

// All of them or, unless the disk fails half way, none. Returns a line for the user when the hook failed afterwards, else nothing.
// Errors: as RefLocks::take(); Refused with the hook's words when it says no.
Result<std::string> moveRefs(const Repository& repository, const std::vector<RefMove>& moves,
                             const std::string& reflogLine, const Progress& progress = {});

} // namespace espalier

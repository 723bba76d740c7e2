// SPDX-License-Identifier: MIT
//
// Reads what the worktree is in the middle of. Private to core/history.
#pragma once

#include "core/git/progress.h"
#include "core/history/snapshot.h"

namespace espalier {

Result<WorktreeState> readWorktreeState(const Repository& repository, const Progress& progress);

} // namespace espalier

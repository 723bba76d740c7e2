// SPDX-License-Identifier: MIT
//
// Reads what the worktree is in the middle of. Private to core/history.
#pragma once

#include "core/history/snapshot.h"

namespace espalier {

WorktreeState readWorktreeState(const Repository& repository);

} // namespace espalier

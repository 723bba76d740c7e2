// SPDX-License-Identifier: MIT
//
// Decisions that are kept on disk: the open settlement of each replay (every decision is saved at once, so that closing
// the window loses nothing), and what was decided before for the same three texts, offered again.
#pragma once

#include "core/settle/conflict_text.h"

namespace espalier {

// The open settlements of replaying `branch` onto `onto`; empty when there are none or the branch moved since.
// Kept in commonDir()/espalier/settling/; never inside the worktree, never in an object.
Settlements loadOpenSettlements(const Repository& repository, const Plan& plan);
Result<void> saveOpenSettlements(const Repository& repository, const Plan& plan, const Settlements& settlements);
Result<void> forgetOpenSettlements(const Repository& repository, const Plan& plan);

// What was decided for a hunk with exactly these three texts, if it ever was.
std::optional<HunkDecision> recall(const Repository& repository, const ConflictHunk& hunk);
Result<void> remember(const Repository& repository, const ConflictHunk& hunk, const HunkDecision& decision);

} // namespace espalier

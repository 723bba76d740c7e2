// SPDX-License-Identifier: MIT
//
// Decisions that are kept on disk: the open settlement of each replay. Every decision is saved at once, so that closing the
// window loses nothing. What was settled in earlier replays is in memory.h.
//
//     Settlements open = loadOpenSettlements(repository, {"refs/heads/topic/x", tip, onto});
#pragma once

#include "core/git/repository.h"
#include "core/settle/settlements.h"

namespace espalier {

// Which replay.
struct ReplayKey {
    std::string branch; // full name; empty: the replay is known by its tip
    Oid tip, onto;
};

// The open settlements of replaying `branch` onto `onto`; empty when there are none or the branch moved since.
// Kept in commonDir()/espalier/settling/; never inside the worktree, never in an object. The form is in README.md; what
// was written in the form before it is read too.
Settlements loadOpenSettlements(const Repository& repository, const ReplayKey& replay);
// Errors: Storage.
Result<void> saveOpenSettlements(const Repository& repository, const ReplayKey& replay, const Settlements& settlements);
Result<void> forgetOpenSettlements(const Repository& repository, const ReplayKey& replay);

} // namespace espalier

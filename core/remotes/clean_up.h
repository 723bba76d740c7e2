// SPDX-License-Identifier: MIT
//
// Topics that have landed and can go: found, shown, deleted in the clone and the fork, each deletion restorable.
#pragma once

#include "core/remotes/push.h"
#include "core/replay/forecast.h"

namespace espalier {

struct CleanUpCandidate {
    std::string branch;         // without refs/heads/
    Oid tip;                    // what has landed; a branch that moved since is not deleted
    Forecast landed;            // wholly(): how
    std::optional<Oid> forkTip; // the fork has it too
    bool checkedOut = false;    // then it cannot be deleted in the clone
};
// By the forecasts of the clone's branches; a branch that none can be made for is no candidate. Errors: Cancelled.
Result<std::vector<CleanUpCandidate>> findCleanUp(const Repository& repository, const SnapshotPtr& snapshot,
                                                  const Progress& progress = {});
// Deletes in the clone and, when `alsoFork`, on the fork with a lease. Stops at the first refusal.
Result<std::vector<LogbookEntry>> cleanUp(const Repository& repository, const CleanUpCandidate& candidate,
                                          bool alsoFork, const Access& access = {}, const Progress& progress = {});

} // namespace espalier

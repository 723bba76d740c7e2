// SPDX-License-Identifier: MIT
//
// Topics that have landed and can go: found, shown, deleted in the clone and the fork, each deletion restorable.
#pragma once

#include "core/history/drift.h"
#include "core/remotes/push.h"

namespace espalier {

struct CleanUpCandidate {
    std::string branch; // without refs/heads/
    Oid tip;            // what has landed; a branch that moved since is not deleted
    Landed landed;
    std::optional<Oid> forkTip; // the fork has it too
    bool checkedOut = false;    // then it cannot be deleted in the clone
};
Result<std::vector<CleanUpCandidate>> findCleanUp(const Repository& repository, const SnapshotPtr& snapshot,
                                                  EquivalenceCache& cache, const Progress& progress = {});
// Deletes in the clone and, when `alsoFork`, on the fork with a lease. Stops at the first refusal.
Result<std::vector<LogbookEntry>> cleanUp(const Repository& repository, const CleanUpCandidate& candidate,
                                          bool alsoFork, const Access& access = {}, const Progress& progress = {});

} // namespace espalier

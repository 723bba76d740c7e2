// SPDX-License-Identifier: MIT
//
// Two versions of a branch, as a replay or an amended commit leaves them: which commit became which, and what changed in
// the change itself.
//
//     auto pairs = pairVersions(repository, *snapshot, forkTip, cloneTip).value();
//     auto change = differenceOfChanges(repository, pairs[0].before->id, pairs[0].now->id).value();
#pragma once

#include "core/history/changes.h"
#include "core/history/snapshot.h"

#include <optional>
#include <vector>

namespace espalier {

// At least one of the two is there.
struct VersionPair {
    std::optional<CommitSummary> before, now;
    bool sameChange = false; // equal patch ids; else paired by message and author
    bool sameMessage = false;
};

// What `beforeTip` reaches and `nowTip` does not, against the other way round; what the main line reaches is left out.
// Newest first, in the order of the new version; what is in the old one only stands where its neighbours are.
// Errors: those of reading commits; Cancelled.
Result<std::vector<VersionPair>> pairVersions(const Repository& repository, const Snapshot& snapshot, Row beforeTip,
                                              Row nowTip, const Progress& progress = {});

// The difference between what two commits do: message and changed lines of each, with their signs, compared as texts
// without line numbers, as one file; a hunk's header is the path, empty in the message. A zero id stands for a commit that does nothing. Errors: as changesOf.
Result<FileChange> differenceOfChanges(const Repository& repository, const Oid& before, const Oid& now,
                                       const Progress& progress = {});

} // namespace espalier

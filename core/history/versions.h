// SPDX-License-Identifier: MIT
//
// Two versions of a branch, as a replay or an amended commit leaves them: which commit became which, and what changed in
// the change itself.
//
//     auto pairs = pairVersions(repository, *snapshot, forkTip, cloneTip).value();
//     replacementOf(pairs, addressesOfUser(repository)).foreign; // somebody else's, and in the old version only
//     auto change = differenceOfChanges(repository, pairs[0].before->id, pairs[0].now->id).value();
#pragma once

#include "core/history/changes.h"
#include "core/history/equivalence.h"
#include "core/history/snapshot.h"

#include <functional>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

namespace espalier {

// At least one of the two is there.
struct VersionPair {
    std::optional<CommitSummary> before, now;
    bool sameChange = false; // equal patch ids; else paired by message and author
    bool sameMessage = false;
    bool landed = false; // `now` is the upstream's
};

// The commits of two versions of a branch, newest first each, without those that both reach.
struct VersionIds {
    std::vector<Oid> before, now; // without the upstream's: those stay whatever becomes of the branch
    // The upstream's commits that the new version stands on and the old one does not: a commit of the old one that has
    // landed there has its counterpart there. Asked once, and only when something has none in `now`; may be null.
    std::function<Result<std::vector<Oid>>()> landedAmong;
};
VersionIds versionIds(const Snapshot& snapshot, Row beforeTip, Row nowTip);

// Which commit became which: by equal change, then by message and author, then by an equal change of the upstream's. A
// commit of the old version alone has no counterpart; whoever asks what a new version replaces or loses asks here. In the
// order of the new version; what is in the old one only stands where its neighbours are.
// Errors: those of reading commits; Cancelled.
Result<std::vector<VersionPair>> pairVersions(ObjectStore& store, const VersionIds& ids, EquivalenceCache& cache,
                                              const Progress& progress = {});
// What `beforeTip` reaches and `nowTip` does not, against the other way round.
Result<std::vector<VersionPair>> pairVersions(const Repository& repository, const Snapshot& snapshot, Row beforeTip,
                                              Row nowTip, const Progress& progress = {});

// The addresses the user writes commits under, in small letters: those of the configuration and of the environment.
std::set<std::string> addressesOfUser(const Repository& repository);

struct CommitPair {
    CommitSummary old, now;
    bool sameChange = false; // as in VersionPair
    bool byUser = false;     // the user wrote the old one
    bool sameMessage = true;
    bool landed = false; // `now` is the upstream's
    // Looked at by an overwrite check only:
    bool sameLines = false; // the added and deleted lines are the same, whatever stands around them
    bool moved = false;     // it stands at another place among its neighbours
};

// What becomes of the old version's commits when the new one takes its place, and whose they are.
struct Replacement {
    std::vector<CommitPair> replaced;   // by a new version, or landed upstream
    std::vector<CommitSummary> removed; // without a counterpart, and written by the user
    std::vector<CommitSummary> foreign; // without a counterpart, and written by somebody else: lost if overwritten
    std::vector<CommitSummary> added;   // of the new version only
    std::size_t alone() const { return removed.size() + foreign.size(); }

    // "2 commits replaced by their new versions (1 of them written by Mira Holt), 1 without a counterpart (written by Teo
    // Brandt)". Names stand only where somebody else than the user wrote something.
    std::string line() const;
};
Replacement replacementOf(const std::vector<VersionPair>& pairs, const std::set<std::string>& addresses);

// Of the old commits those that somebody else than the user wrote.
std::vector<CommitSummary> othersOf(std::span<const CommitPair> pairs);
// Who wrote them, each once: "Mira Holt, Teo Brandt", made safe to show. Empty for none.
std::string authorsOf(std::span<const CommitSummary> commits);

// The difference between what two commits do: message and changed lines of each, with their signs, compared as texts
// without line numbers, as one file; a hunk's header is the path, empty in the message. The author is one more line of the
// message where the two name another. A zero id stands for a commit that does nothing. No hunk: a reviewer has nothing to
// read. After git-range-diff(1), which compares the same texts. Errors: as changesOf.
Result<FileChange> differenceOfChanges(const Repository& repository, const Oid& before, const Oid& now,
                                       const Progress& progress = {});

// Where there is such a difference; nowhere exactly when differenceOfChanges has no hunk. Told without a diff where the two
// change the same files from and to the same contents.
struct ChangesDiffer {
    bool message = false; // or the author
    bool lines = false;   // added or deleted ones, or a file's mode
    bool around = false;  // lines beside them, what a hunk is headed with, or a file's name, as the upstream renamed it
};
Result<ChangesDiffer> whatDiffers(ObjectStore& store, const Oid& before, const Oid& now, const Progress& progress = {});

} // namespace espalier

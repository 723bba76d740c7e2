// SPDX-License-Identifier: MIT
//
// A repository as it was at one moment: refs, roles, worktree state and history. Immutable and shared between threads;
// everything the window shows comes from one of these.
//
//     Result<SnapshotPtr> snapshot = takeSnapshot(repository, progress);
//     for (const Ref& ref : (*snapshot)->refs) …
#pragma once

#include "core/history/history.h"
#include "core/history/places.h"

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace espalier {

enum class RefKind : std::uint8_t {
    Branch,       // refs/heads/…
    RemoteBranch, // refs/remotes/<remote>/…
    Tag,
    Other, // notes, stash, replace and foreign namespaces; refs/espalier/ is never in a snapshot
};

struct Ref {
    std::string name;      // full
    std::string shortName; // "topic/x", "origin/topic/x", "v2.3"
    RefKind kind = RefKind::Branch;
    // Clone for local branches, Upstream or Fork for the branches of those remotes, one remote for both parts is both (see
    // Snapshot::placesOf); nothing for tags, other remotes, refs of pull requests (pullRequestOf()) and other refs.
    std::optional<Place> place;
    std::string remote; // for a remote branch: its remote
    std::string branch; // for a branch or remote branch: the name without remote, "topic/x"
    Oid tip;            // peeled to a commit
    Row row = noRow;
};

// What stands in the way of moving the worktree, or is worth showing.
struct WorktreeState {
    bool bare = false;
    bool unborn = false; // HEAD names a branch without commits
    bool detached = false;
    std::string headBranch; // full name, also when unborn; empty when detached
    Oid headTip;            // zero when unborn
    // What git command is in progress, as a person says it: "a rebase", "a merge", "a cherry-pick"; empty when none.
    std::string inProgress;
    bool sparse = false;
    // Branches (full names) that other worktrees have checked out, with their paths.
    std::map<std::string, std::string> checkedOutElsewhere;
};

struct Snapshot {
    std::string path; // to open the repository again
    std::string name;
    std::vector<Remote> remotes;
    Roles roles;
    std::vector<Ref> refs; // sorted by name; symbolic refs/remotes/*/HEAD left out
    WorktreeState worktree;
    History history;
    std::vector<Places> places; // by row
    // The ref that everybody builds on: upstream's HEAD, else main, master or trunk of it, else HEAD's branch.
    // Index into refs; -1 in an empty repository.
    int mainLine = -1;
    std::vector<std::string> notices; // history's, and "one remote plays both parts"
    // Refs that are not among `refs` because they, or what they point at, cannot be read: a line each, among the notices too.
    // What is said of the branches is then not the whole.
    std::vector<std::string> damage;

    const Ref* findRef(std::string_view fullName) const; // null when there is none
    // By short or full name, branches first, then remote branches, then tags; null when there is none.
    const Ref* findByAnyName(std::string_view name) const;
    const Ref* mainLineRef() const { return mainLine < 0 ? nullptr : &refs[std::size_t(mainLine)]; }
    // The fork's (upstream's) branch of the same name as the local branch `branch`; null when there is none.
    const Ref* forkCopy(std::string_view branch) const;
    const Ref* upstreamCopy(std::string_view branch) const;
    // refs that point at a row, for labels; indices into refs.
    std::vector<int> refsAt(Row row) const;
    Places placesOf(Row row) const { return row < places.size() ? places[row] : Places(0); }

    // Filled by takeSnapshot: refs sorted by row, for refsAt.
    std::vector<std::pair<Row, int>> refsByRow;
};
using SnapshotPtr = std::shared_ptr<const Snapshot>;

// Reads everything. `previous`, when given, makes the load cost what changed. Without it `first`, when given, gets a snapshot
// of the newest few hundred rows while the rest of a larger history is still to be read: enough for a screenful, and for
// looking only, as what lies below is not in it. Errors: Broken, Cancelled, Unsupported; Storage when the refs may not be
// read.
Result<SnapshotPtr> takeSnapshot(const Repository& repository, const Progress& progress = {},
                                 const SnapshotPtr& previous = {}, const std::function<void(SnapshotPtr)>& first = {});

// A cheap fingerprint of refs, HEAD, index and operation state, to see whether a new snapshot is due.
std::uint64_t repositoryFingerprint(const Repository& repository);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// How far every branch has moved away from the main line, and what became of its commits there.
#pragma once

#include "core/history/snapshot.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

// How the fork's branch of the same name stands to the clone's.
enum class ForkState : std::uint8_t {
    None, // the fork has no such branch
    Same,
    Behind,       // a plain push brings it up to date
    Ahead,        // the fork has commits on top of the clone's tip
    OlderVersion, // both have commits of their own; every one of the fork's is one of the user's or has an equal here
    Foreign,      // both have commits of their own; some of the fork's are not the user's
};

struct BranchDrift {
    int ref = -1;             // index into Snapshot::refs
    std::uint32_t ahead = 0;  // commits the main line does not reach
    std::uint32_t behind = 0; // commits of the main line that the branch does not reach
    Row mergeBase = noRow;    // a best one; noRow for unrelated histories (and from driftOfAll)
    ForkState fork = ForkState::None;
    std::uint32_t forkAhead = 0, forkBehind = 0; // the fork's copy against the clone's tip
    std::uint32_t foreign = 0;                   // commits of the fork's copy that are not the user's and would be lost
    int standsOn = -1; // the nearest other topic branch of the clone below this one's tip; index into refs
};

struct Drift {
    SnapshotPtr snapshot;
    std::vector<BranchDrift> branches;
};

enum class DriftScope { Branches, AllRefs };

// A row per branch of the three places (the clone's first; a remote branch only when the clone has no branch of its
// name), or per ref of the repository. Bit-parallel over the table: cost does not grow with branches times commits.
// `userEmails` tell whose commits are the user's (user.email and the emails of the identity configured).
Result<Drift> computeDrift(const SnapshotPtr& snapshot, DriftScope scope, const Progress& progress = {});

// Only the two numbers, for many tips against one row: ahead[i], behind[i] for tips[i].
struct AheadBehind {
    std::uint32_t ahead = 0;
    std::uint32_t behind = 0;
};
Result<std::vector<AheadBehind>> driftOfAll(const History& history, Row mainLine, std::span<const Row> tips,
                                            const Progress& progress = {});

// What became of a branch's commits on the main line. Slower than the above (reads changes); for the background.
struct Landed {
    std::vector<std::pair<Oid, Oid>> commits; // the branch's commit, the equal one of the main line
    std::optional<Oid> squash;                // one commit of the main line that equals the branch's combined change
    bool merged = false;                      // the main line reaches the branch's tip
    std::uint32_t ahead = 0;                  // commits of the branch that were looked at
    // Every commit is there under this or another id: the branch can be cleaned up.
    bool wholly() const { return merged || squash || (ahead > 0 && commits.size() == ahead); }
};
class EquivalenceCache;
Result<Landed> findLanded(const Repository& repository, const Snapshot& snapshot, Row tip, Row mainLine,
                          EquivalenceCache& cache, const Progress& progress = {});

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// How far every branch has moved away from the main line, and what became of its commits there.
#pragma once

#include "core/history/versions.h"

#include <memory>
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
    OlderVersion, // both have commits of their own; every one of the fork's has a counterpart here or is the user's
    Foreign,      // both have commits of their own; some of the fork's have no counterpart and are not the user's
};

struct BranchDrift {
    int ref = -1;             // index into Snapshot::refs
    std::uint32_t ahead = 0;  // commits the main line does not reach
    std::uint32_t behind = 0; // commits of the main line that the branch does not reach
    Row mergeBase = noRow;    // a best one; noRow for unrelated histories (and from driftOfAll)
    ForkState fork = ForkState::None;
    std::uint32_t forkAhead = 0, forkBehind = 0; // the fork's copy against the clone's tip
    // What the clone's version would replace on the fork; null unless both have commits of their own.
    std::shared_ptr<const Replacement> replacement;
    int standsOn = -1; // the nearest other topic branch of the clone below this one's tip; index into refs
};

struct Drift {
    SnapshotPtr snapshot;
    std::vector<BranchDrift> branches;
};

enum class DriftScope { Branches, AllRefs };

// A row per branch of the three places (the clone's first; a remote branch only when the clone has no branch of its
// name), or per ref of the repository. Bit-parallel over the table: cost does not grow with branches times commits.
Result<Drift> computeDrift(const SnapshotPtr& snapshot, DriftScope scope, const Progress& progress = {});

// Only the two numbers, for many tips against one row: ahead[i], behind[i] for tips[i].
struct AheadBehind {
    std::uint32_t ahead = 0;
    std::uint32_t behind = 0;
};
Result<std::vector<AheadBehind>> driftOfAll(const History& history, Row mainLine, std::span<const Row> tips,
                                            const Progress& progress = {});

// The fork's and the clone's copies of the main line against upstream's; nothing where there is no copy.
struct MainLines {
    std::optional<AheadBehind> fork, clone;
};
Result<MainLines> mainLinesOf(const Snapshot& snapshot, const Progress& progress = {});

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Which commits of the main line touched the files that a topic touches: what a contributor who is far behind looks at
// first. Along first parents, so that what a merge brought in counts as the merge; trees are compared by their ids, and only
// where the topic's files lie.
//
//     auto found = findTouching(repository, *snapshot, tip, progress);   // off the GUI thread
//     found->rows;            // newest first
#pragma once

#include "core/history/snapshot.h"

#include <vector>

namespace espalier {

struct Touching {
    std::vector<Row> rows; // newest first
    // The main line is longer than is looked at; older commits may touch the files too.
    bool cutOff = false;
};

// A main line that is further ahead than this is looked at from its head down to here.
inline constexpr std::size_t mostSteps = 30'000;

// From the main line's head down to what `tip` reaches; the files are those in which `tip` differs from the merge base.
// Nothing without a main line, without a merge base, or for a row that does not exist. Errors: Broken, Cancelled.
Result<Touching> findTouching(const Repository& repository, const Snapshot& snapshot, Row tip,
                              const Progress& progress = {});

} // namespace espalier

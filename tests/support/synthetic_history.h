// SPDX-License-Identifier: MIT
//
// Snapshots without a repository: the shape of a history alone, for lanes and drawing.
//
//     SyntheticHistory shape = randomShape(seed, 400);
//     SnapshotPtr snapshot = snapshotOf(shape);
#pragma once

#include "core/history/snapshot.h"

#include <utility>
#include <vector>

namespace espalier::test {

struct SyntheticHistory {
    // By row, newest first: the parents' rows.
    std::vector<std::vector<Row>> parents;
    struct Tip {
        Row row = 0;
        Place place = Place::Clone;
        std::string branch;
    };
    // The first one is the main line.
    std::vector<Tip> tips;
    std::int64_t secondsACommit = 3600; // each row is so much older than the one above
};

// A main line with topics that are merged, go on after it, are merged into, or stay; places at random.
SyntheticHistory randomShape(unsigned seed, std::size_t commits);
// Ids are made from the distance to the oldest row, so that commits added on top leave those of the rest as they are.
SnapshotPtr snapshotOf(const SyntheticHistory& shape);

} // namespace espalier::test

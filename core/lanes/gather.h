// SPDX-License-Identifier: MIT
//
// The gathered picture: of a whole history only what one question needs, on one screen. The question is where a topic
// could stand: its own commits, the merge base with the main line, the main line's head, other bases that make sense, and
// the commits of the main line that touched the same files. What lies between them on a line is one row, a gap, that says
// how many commits it holds and how many of those touch the topic's files. Together the rows hold exactly what git counts:
// those of the main line's side `rev-list topic..main`, those of the topic's side `rev-list main..topic`.
//
//     LanesOptions options;
//     options.gather = Gather{.tip = tip, .touching = {}, .room = 24};
//     LanesPtr lanes = layOut(snapshot, options).value();
//     lanes->displayed(i).gap;        // the row stands for `folded + 1` commits of which it is the newest
#pragma once

#include "core/history/snapshot.h"

#include <optional>
#include <vector>

namespace espalier {

struct Gather {
    // The topic's, or the newest commit that is dragged. noRow: no question but a first look, at the main line's head and its
    // copies, what is checked out, the clone's branches that have not landed, and where they stand; `room` does not count.
    Row tip = noRow;
    std::vector<Row>
        touching; // commits of the main line that touch the topic's files (core/history/touching.h), any order
    // How many rows fit; at least the tip, the merge base and the main line's head are shown however few these are.
    std::size_t room = 24;
};

// The refs that a topic with this tip could sensibly be moved onto, best first: the main line, its copies, upstream's
// branches that are not stale, and topics of the clone that have not landed. Not its own copies. Indices into
// Snapshot::refs; at most `limit`; empty for a row that does not exist.
std::vector<int> sensibleBases(const Snapshot& snapshot, Row tip, std::size_t limit);

} // namespace espalier

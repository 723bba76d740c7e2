// SPDX-License-Identifier: MIT
//
// Ahead and behind of any number of tips against one main line, without a walk a tip. Private to core/history.
//
// The main line's first-parent chain is numbered from its oldest commit; every commit that the main line reaches gets the
// number of the oldest chain commit that reaches it ("entered"). What chain commit k reaches is then exactly what entered
// at or before k. For any commit x let k be the highest chain number that x reaches: x reaches all that entered up to k,
// and beside that only its "own part", commits that are not on the main line or entered after k. Own parts are small,
// and along single parents they only grow by one, so they are counted there without a walk; only merges need one. When the
// walks would cost more than a few passes over the table (long-lived lines that merge into each other), the rest is counted
// for 256 commits at once with a bit each, in one pass over the table a block.
#pragma once

#include "core/history/drift.h"

namespace espalier {

struct TipCount {
    std::uint32_t ahead = 0;
    std::uint32_t behind = 0;
    Row mergeBase = noRow; // the newest common ancestor, which is a best one
};

// A row `noRow` among `tips` gives zeroes. Errors: Cancelled, Usage (the main line is no row).
Result<std::vector<TipCount>> countTips(const History& history, Row mainLine, std::span<const Row> tips,
                                        const Progress& progress);

} // namespace espalier

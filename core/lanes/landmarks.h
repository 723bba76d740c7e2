// SPDX-License-Identifier: MIT
//
// What a label is worth when the picture is folded. In a project with tens of thousands of branches nearly every commit bears
// a label; were each of them to keep its row, folding would fold nothing. So a label keeps its row only when somebody who
// looks for the way home would look for it: what is checked out, the main line and its copies, releases on it, and the user's
// own branches that are neither landed nor stale. (Commits that are grafted or replaced bear such a label too.) Others' live branches keep a line, not each of their labelled commits;
// landed and stale branches keep nothing: the fold that holds them counts their commits and labels, and going to one opens it.
//
//     Landmarks marks = findLandmarks(snapshot);
//     marks.keepsRow[row]; marks.keepsLine[row]; marks.labels[row];
#pragma once

#include "core/history/snapshot.h"

#include <vector>

namespace espalier {

struct Landmarks {
    std::vector<bool> onMain;    // by row: on the main line, along first parents
    std::vector<bool> landed;    // by row: the main line reaches it; the main line itself included
    std::vector<bool> keepsRow;  // by row: a label for which the row is never folded into another
    std::vector<bool> keepsLine; // by row: a label for which its branch stays in the picture, though its rows may fold
    std::vector<std::uint32_t> labels; // by row: how many labels it bears
};

// A branch is stale when its tip is older than the main line's by half a year, as on the drift board; measured against the
// main line and not the clock, so that a layout follows from its snapshot alone and nothing is stale in a project at rest.
inline constexpr std::int64_t staleSeconds = std::int64_t(180) * 24 * 3600;

Landmarks findLandmarks(const Snapshot& snapshot);
std::vector<std::uint32_t> labelsByRow(const Snapshot& snapshot); // as in Landmarks

// By row: more than tags reach it: a branch, of whatever remote, another ref, what is checked out. All rows where there is no
// branch at all: the tags are then what there is to see.
std::vector<bool> reachedByMoreThanTags(const Snapshot& snapshot);

} // namespace espalier

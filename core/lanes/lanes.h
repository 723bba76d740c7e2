// SPDX-License-Identifier: MIT
//
// Where each commit stands in the picture: band, lane, and the edges that cross each row.
//
// Rows are laid out from the oldest up, each by what stands below it and at most a screenful above, so commits that are
// added on top move nothing further down. A line takes the innermost lane of its band that is free all the way; the outer
// lanes are open to short lines only, and a line that finds none becomes a stub. So the picture stays narrow however many
// branches a project has: first-fit colouring of intervals (e.g. Kierstead, 1988), bounded.
//
// Bands, left to right: upstream, fork, clone. A commit stands in the band of the most public place whose
// branches reach it; one that only tags or other refs reach stands in the clone's band. The main line is lane 0 of the
// upstream band from top to bottom (of the clone's when there is no upstream). Lanes are numbered within their band from the left.
//
//     LanesPtr lanes = layOut(snapshot, visibleRows, progress).value();
//     lanes->row(i);          // where the commit of display row i stands
//     lanes->edges(i);        // the lines that cross or meet that row
#pragma once

#include "core/history/snapshot.h"
#include "core/lanes/gather.h"

#include <memory>
#include <span>
#include <vector>

namespace espalier {

struct LanePosition {
    Place band = Place::Clone;
    std::uint16_t lane = 0;
};

// A piece of line inside one row, from the row's top edge to its bottom edge or to/from the node in its middle. A line runs
// in one lane from its child's row to its parent's row: it leaves that lane only in those two rows, in the half between
// the node and the edge of the row.
struct LaneEdge {
    enum Part : std::uint8_t {
        Through, // enters at the top in `from`, leaves at the bottom in `to` (the same lane)
        Into,    // enters at the top in `from` and ends in the node
        OutOf,   // starts in the node and leaves at the bottom in `to`
        Stub,    // starts in the node and ends at once: the parent is far below and the lanes beside are taken
    };
    Part part = Through;
    LanePosition from, to;
    LanePosition colour; // the lane whose colour the line has: the one that it runs in
    bool secondParent = false;
    bool skips = false; // commits between child and parent are hidden (folded or filtered); drawn broken
    std::uint32_t child = 0, parent = 0; // display rows that the whole line joins; parent > child
};

// What one display row stands for.
struct DisplayRow {
    Row row = noRow;          // the commit; of a fold, the one that stands for it
    std::uint32_t folded = 0; // how many commits the fold holds beside it; 0: a plain row
    std::uint32_t labels = 0; // how many labels those bear
    // Of a gathered picture (core/lanes/gather.h): the row stands for what lies between two others, itself included; and
    // how many of its commits touch the topic's files.
    bool gap = false;
    std::uint32_t touching = 0;
};

class Lanes {
  public:
    std::size_t rowCount() const; // display rows
    DisplayRow displayed(std::size_t i) const;
    // The display row that shows a commit (itself or the fold that holds it); nothing when it is hidden.
    std::optional<std::size_t> displayRowOf(Row row) const;
    LanePosition position(std::size_t i) const;
    // A side branch that is folded begins at this row, whether into this one or into another; no line says so.
    bool beginsFold(std::size_t i) const;
    // Edges of one display row; valid until the next call on the same thread. Computed from checkpoints, so any row costs
    // about the same, however long the history.
    std::vector<LaneEdge> edges(std::size_t i) const;
    // Lanes each band needs over the whole picture, and over the rows [first, last] and their neighbours up to 64 away
    // (for a narrow view).
    std::array<std::uint16_t, 3> widths() const;
    std::array<std::uint16_t, 3> widths(std::size_t first, std::size_t last) const;
    std::size_t bytes() const;
    // Counted over all rows, for the benchmark.
    std::uint64_t crossings() const;
    std::uint64_t stubs() const;

    struct Data;
    explicit Lanes(std::shared_ptr<const Data> data);

  private:
    std::shared_ptr<const Data> m_data;
};
using LanesPtr = std::shared_ptr<const Lanes>;

struct LanesOptions {
    // Fold linear runs into the row of their newest commit, landed side branches into that of their merge, and other
    // branches that nothing keeps in the picture into that of the commit on which they stand. Which labels keep what:
    // core/lanes/landmarks.h.
    bool fold = false;
    // Fold history that only tags reach into the row of the commit on which it stands, or, where it stands on nothing, into
    // its own newest. Folds nothing of what is checked out, and nothing in a repository without a branch. Not with `only`.
    bool foldTagged = false;
    // Commits whose rows are not folded whatever their labels, in any order.
    std::vector<Row> keep;
    // Rows whose folds the user has opened (the commit that stands for the fold).
    std::vector<Row> opened;
    // Only these commits, sorted; empty means all. Edges skip over what is hidden.
    std::vector<Row> only;
    // Gather around a tip instead: of the above only `opened` counts then. A tip that does not exist: everything.
    std::optional<Gather> gather;
};

// Lays out the whole history of a snapshot. Errors: Cancelled.
Result<LanesPtr> layOut(const SnapshotPtr& snapshot, const LanesOptions& options = {}, const Progress& progress = {});

// The commits that tell a branch's divergence: from the merge base with the main line up to both tips, the merge base, and
// what stands on the branch. `own` are those that the user asked for, to be kept when the rest is folded: the branch's, its
// copies', the merge base, both tips. Both sorted; empty for a row that does not exist.
struct Focus {
    std::vector<Row> rows, own;
};
Focus focusOn(const Snapshot& snapshot, Row tip);

} // namespace espalier

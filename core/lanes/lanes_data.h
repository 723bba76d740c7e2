// SPDX-License-Identifier: MIT
//
// What a layout keeps, private to core/lanes: a byte a commit and one a further parent, and every `interval` rows the lines
// that cross there, from which the lines of any row are found again.
#pragma once

#include "core/lanes/lanes.h"

namespace espalier {

// A line that crosses the top edge of a row.
struct ActiveLine {
    std::uint32_t child = 0;
    std::uint32_t parent = 0;
    std::uint8_t band = 0;
    std::uint8_t lane = 0;
    bool second = false;
    bool skips = false;
};

struct Lanes::Data {
    static constexpr std::uint32_t interval = 64;
    static constexpr std::uint32_t skipsBit = 0x80000000; // in `parents`: commits between are hidden
    static constexpr std::uint8_t laneMask = 0x3f;
    static constexpr std::uint8_t inParentsBand = 0x40; // in `further`: the line runs in the parent's band
    static constexpr std::uint8_t isStub = 0x80;

    struct Checkpoint {
        std::uint32_t firstLine = 0;    // into `lines`
        std::uint32_t firstFurther = 0; // into `further`
        std::array<std::uint8_t, 3> widths{};
    };

    SnapshotPtr snapshot;
    std::uint32_t count = 0; // display rows
    bool everything = true;  // display row i is row i; the vectors below, up to `lane`, are empty then
    std::vector<Row> shown;
    std::vector<std::uint32_t> folded;
    std::vector<std::uint32_t> foldedLabels;
    std::vector<bool> gaps; // these two only in a gathered picture
    std::vector<std::uint32_t> touching;
    std::vector<std::uint32_t> displayOf;   // by row; noRow where hidden
    std::vector<std::uint32_t> parentStart; // count + 1
    std::vector<std::uint32_t> parents;     // display rows, with skipsBit
    std::vector<bool> beginsFold;           // by display row; empty without folds

    std::vector<std::uint8_t> lane;    // of each display row; isStub: the line to its first parent is one
    std::vector<std::uint8_t> further; // of each parent after the first, in the order of rows
    std::vector<Checkpoint> checkpoints;
    std::vector<ActiveLine> lines;
    std::array<std::uint16_t, 3> widths{};
    std::uint64_t crossings = 0;
    std::uint64_t stubs = 0;

    Row rowAt(std::uint32_t i) const { return everything ? i : shown[i]; }
    Place bandOf(std::uint32_t i) const
    {
        const Places places = snapshot->placesOf(rowAt(i));
        if (places & placeBit(Place::Upstream))
            return Place::Upstream;
        return places & placeBit(Place::Fork) ? Place::Fork : Place::Clone;
    }
    std::span<const std::uint32_t> parentsOf(std::uint32_t i) const
    {
        if (everything)
            return snapshot->history.parents(i);
        return std::span(parents).subspan(parentStart[i], parentStart[i + 1] - parentStart[i]);
    }
    LanePosition positionOf(std::uint32_t i) const { return {bandOf(i), std::uint16_t(lane[i] & laneMask)}; }
};

// Decides which commits have a display row and which rows stand for folds: fills the display part of `data`.
void chooseRows(Lanes::Data& data, const LanesOptions& options);
// The same for a gathered picture; its tip is a row of the history.
void gatherRows(Lanes::Data& data, const LanesOptions& options);
// Gives every display row and line its lane. False when stopped.
bool assignLanes(Lanes::Data& data, const Progress& progress);
// Walks the finished layout once: checkpoints, widths, crossings. False when stopped.
bool placeCheckpoints(Lanes::Data& data, const Progress& progress);

} // namespace espalier

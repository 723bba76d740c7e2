// SPDX-License-Identifier: MIT
//
// What `espalier layout --bench` prints: loads a repository, lays out everything, and counts and times both.
//
//     LayoutReport report = reportLayout(repository, progress).value();
//     report.loadMs + report.layoutMs;
#pragma once

#include "core/lanes/lanes.h"

namespace espalier {

struct LayoutReport {
    std::uint64_t commits = 0;
    std::uint64_t refs = 0;
    std::array<std::uint16_t, 3> lanes{}; // upstream, fork, clone
    std::uint64_t crossings = 0;
    std::uint64_t stubs = 0;      // lines to a far parent that are only begun
    std::uint64_t foldedRows = 0; // display rows when folded
    std::size_t historyBytes = 0;
    std::size_t lanesBytes = 0;
    double loadMs = 0; // refs, history, order and places
    double layoutMs = 0;
    double foldedLayoutMs = 0;
    double screenUs = 0; // the lines of a screenful of 60 rows, mean over the whole picture
};

// Errors: those of takeSnapshot and layOut.
Result<LayoutReport> reportLayout(const Repository& repository, const Progress& progress = {});

} // namespace espalier

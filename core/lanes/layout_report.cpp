// SPDX-License-Identifier: MIT
#include "core/lanes/layout_report.h"

#include <chrono>

namespace espalier {

namespace {

double millisecondsSince(std::chrono::steady_clock::time_point start)
{
    return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

double microsecondsAScreen(const Lanes& lanes)
{
    constexpr std::size_t rowsShown = 60;
    const std::size_t step = std::max<std::size_t>(rowsShown, lanes.rowCount() / 500);
    std::size_t screens = 0;
    const auto start = std::chrono::steady_clock::now();
    for (std::size_t first = 0; first < lanes.rowCount(); first += step, ++screens)
        for (std::size_t row = first; row < std::min(first + rowsShown, lanes.rowCount()); ++row)
            (void)lanes.edges(row);
    return screens == 0 ? 0 : millisecondsSince(start) * 1000 / double(screens);
}

} // namespace

Result<LayoutReport> reportLayout(const Repository& repository, const Progress& progress)
{
    LayoutReport report;
    auto start = std::chrono::steady_clock::now();
    const auto snapshot = takeSnapshot(repository, progress);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    report.loadMs = millisecondsSince(start);
    start = std::chrono::steady_clock::now();
    const auto lanes = layOut(*snapshot, {}, progress);
    if (!lanes)
        return std::unexpected(lanes.error());
    report.layoutMs = millisecondsSince(start);
    LanesOptions fold;
    fold.fold = true;
    start = std::chrono::steady_clock::now();
    const auto folded = layOut(*snapshot, fold, progress);
    if (!folded)
        return std::unexpected(folded.error());
    report.foldedLayoutMs = millisecondsSince(start);
    report.commits = (*snapshot)->history.size();
    report.refs = (*snapshot)->refs.size();
    report.lanes = (*lanes)->widths();
    report.crossings = (*lanes)->crossings();
    report.stubs = (*lanes)->stubs();
    report.foldedRows = (*folded)->rowCount();
    report.historyBytes = (*snapshot)->history.bytes();
    report.lanesBytes = (*lanes)->bytes();
    report.screenUs = microsecondsAScreen(**lanes);
    return report;
}

} // namespace espalier

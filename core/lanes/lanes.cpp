// SPDX-License-Identifier: MIT
#include "core/lanes/lanes.h"
#include "core/lanes/lanes_data.h"
#include "core/lanes/sweep.h"

#include <bit>

namespace espalier {

namespace {

// Which lanes of each band a line crosses a row in; a bit a lane.
using Masks = std::array<std::uint64_t, 3>;

int linesBetween(const Masks& masks, LanePosition a, LanePosition b)
{
    const auto before = [](LanePosition x, LanePosition y) {
        return std::pair(x.band, x.lane) < std::pair(y.band, y.lane);
    };
    if (before(b, a))
        std::swap(a, b);
    int count = 0;
    for (std::size_t band = std::size_t(a.band); band <= std::size_t(b.band); ++band) {
        std::uint64_t mask = masks[band];
        if (band == std::size_t(a.band))
            mask &= a.lane >= 63 ? 0 : ~std::uint64_t(0) << (a.lane + 1);
        if (band == std::size_t(b.band))
            mask &= (std::uint64_t(1) << b.lane) - 1;
        count += std::popcount(mask);
    }
    return count;
}

LanePosition positionOf(const ActiveLine& line) { return {Place(line.band), line.lane}; }

void countRow(Lanes::Data& data, const Sweep& sweep, Lanes::Data::Checkpoint& block)
{
    const auto widen = [&](std::size_t band, std::uint32_t lane) {
        block.widths[band] = std::uint8_t(std::max<std::uint32_t>(block.widths[band], lane + 1));
    };
    Masks through{};
    const LanePosition node = data.positionOf(sweep.row());
    widen(std::size_t(node.band), node.lane);
    for (const ActiveLine& line : sweep.lines()) {
        widen(line.band, line.lane);
        if (line.parent != sweep.row())
            through[line.band] |= std::uint64_t(1) << line.lane;
    }
    for (const ActiveLine& line : sweep.lines())
        if (line.parent == sweep.row())
            data.crossings += std::uint64_t(linesBetween(through, positionOf(line), node));
    sweep.starting([&](const ActiveLine& line, bool stub) {
        widen(line.band, line.lane);
        if (!stub)
            data.crossings += std::uint64_t(linesBetween(through, positionOf(line), node));
    });
}

} // namespace

bool placeCheckpoints(Lanes::Data& data, const Progress& progress)
{
    std::vector<Lanes::Data::Checkpoint> checkpoints;
    checkpoints.reserve(data.count / Lanes::Data::interval + 1);
    Sweep sweep(data, 0);
    for (std::uint32_t row = 0; row < data.count; ++row) {
        if (row % Lanes::Data::interval == 0) {
            if (progress.stopped())
                return false;
            checkpoints.push_back({std::uint32_t(data.lines.size()), sweep.nextFurther(), {}});
            data.lines.insert(data.lines.end(), sweep.lines().begin(), sweep.lines().end());
        }
        countRow(data, sweep, checkpoints.back());
        sweep.down();
    }
    data.checkpoints = std::move(checkpoints);
    for (const auto& checkpoint : data.checkpoints)
        for (std::size_t band = 0; band < 3; ++band)
            data.widths[band] = std::max<std::uint16_t>(data.widths[band], checkpoint.widths[band]);
    data.lines.shrink_to_fit();
    return true;
}

Result<LanesPtr> layOut(const SnapshotPtr& snapshot, const LanesOptions& options, const Progress& progress)
{
    auto data = std::make_shared<Lanes::Data>();
    data->snapshot = snapshot;
    chooseRows(*data, options);
    if (progress.stopped() || !assignLanes(*data, progress) || !placeCheckpoints(*data, progress))
        return cancelled();
    return std::make_shared<const Lanes>(std::move(data));
}

Lanes::Lanes(std::shared_ptr<const Data> data) : m_data(std::move(data)) {}

std::size_t Lanes::rowCount() const { return m_data->count; }

DisplayRow Lanes::displayed(std::size_t i) const
{
    if (i >= m_data->count)
        return {};
    if (m_data->folded.empty())
        return {m_data->rowAt(std::uint32_t(i))};
    DisplayRow row{m_data->rowAt(std::uint32_t(i)), m_data->folded[i], m_data->foldedLabels[i]};
    if (!m_data->gaps.empty()) {
        row.gap = m_data->gaps[i];
        row.touching = m_data->touching[i];
    }
    return row;
}

std::optional<std::size_t> Lanes::displayRowOf(Row row) const
{
    if (m_data->everything)
        return row < m_data->count ? std::optional<std::size_t>(row) : std::nullopt;
    if (row >= m_data->displayOf.size() || m_data->displayOf[row] == noRow)
        return std::nullopt;
    return m_data->displayOf[row];
}

LanePosition Lanes::position(std::size_t i) const
{
    return i < m_data->count ? m_data->positionOf(std::uint32_t(i)) : LanePosition{};
}

bool Lanes::beginsFold(std::size_t i) const { return i < m_data->beginsFold.size() && m_data->beginsFold[i]; }

std::vector<LaneEdge> Lanes::edges(std::size_t i) const
{
    std::vector<LaneEdge> edges;
    if (i >= m_data->count)
        return edges;
    Sweep sweep(*m_data, std::uint32_t(i));
    while (sweep.row() < i)
        sweep.down();
    const LanePosition node = position(i);
    for (const ActiveLine& line : sweep.lines()) {
        const LanePosition lane = positionOf(line);
        const bool ends = line.parent == i;
        edges.push_back({ends ? LaneEdge::Into : LaneEdge::Through, lane, ends ? node : lane, lane, line.second,
                         line.skips, line.child, line.parent});
    }
    sweep.starting([&](const ActiveLine& line, bool stub) {
        const LanePosition lane = positionOf(line);
        edges.push_back({stub ? LaneEdge::Stub : LaneEdge::OutOf, node, lane, lane, line.second, line.skips, line.child,
                         line.parent});
    });
    return edges;
}

std::array<std::uint16_t, 3> Lanes::widths() const { return m_data->widths; }

std::array<std::uint16_t, 3> Lanes::widths(std::size_t first, std::size_t last) const
{
    std::array<std::uint16_t, 3> widths{};
    const std::size_t end = m_data->checkpoints.size();
    for (std::size_t at = first / Data::interval; at < end && at <= last / Data::interval; ++at)
        for (std::size_t band = 0; band < 3; ++band)
            widths[band] = std::max<std::uint16_t>(widths[band], m_data->checkpoints[at].widths[band]);
    return widths;
}

std::size_t Lanes::bytes() const
{
    const auto size = [](const auto& vector) { return vector.capacity() * sizeof(vector[0]); };
    const Data& d = *m_data;
    return sizeof d + size(d.shown) + size(d.folded) + size(d.foldedLabels) + size(d.displayOf) + size(d.parentStart) +
           size(d.parents) + size(d.lane) + size(d.further) + size(d.checkpoints) + size(d.lines);
}

std::uint64_t Lanes::crossings() const { return m_data->crossings; }

std::uint64_t Lanes::stubs() const { return m_data->stubs; }

} // namespace espalier

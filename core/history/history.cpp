// SPDX-License-Identifier: MIT
#include "core/history/history.h"

#include "core/history/history_data.h"
#include "core/history/row_flags.h"

#include <algorithm>
#include <queue>

namespace espalier {

namespace {

// The rows still to be looked at, newest first. Rows are in topological order, so when one is taken all its children that
// are of interest have been taken before: every row is taken once.
using RowQueue = std::priority_queue<Row, std::vector<Row>, std::greater<>>;

std::size_t fanoutSlot(const Oid& id, int bits)
{
    const std::size_t two = std::size_t(id.bytes[0]) << 8 | id.bytes[1];
    return two >> (16 - bits);
}

} // namespace

void History::Data::makeFanout()
{
    fanoutBits = ids.size() < 0x4000 ? 8 : 16;
    fanout.assign((std::size_t(1) << fanoutBits) + 1, 0);
    for (const Oid& id : ids)
        ++fanout[fanoutSlot(id, fanoutBits) + 1];
    for (std::size_t i = 1; i < fanout.size(); ++i)
        fanout[i] += fanout[i - 1];
}

std::span<const Row> History::Data::candidates(const Oid& id) const
{
    if (fanout.empty())
        return {};
    const std::size_t slot = fanoutSlot(id, fanoutBits);
    return std::span(byId).subspan(fanout[slot], fanout[slot + 1] - fanout[slot]);
}

Row History::Data::find(const Oid& id) const
{
    const auto rows = candidates(id);
    const auto at = std::ranges::lower_bound(rows, id, {}, [&](Row row) -> const Oid& { return ids[row]; });
    return at != rows.end() && ids[*at] == id ? *at : noRow;
}

void History::Data::findAltered(const Overrides& found)
{
    const auto collect = [&](const auto& altered, std::vector<Row>& rows) {
        for (const auto& [id, other] : altered)
            if (const Row row = find(id); row != noRow)
                rows.push_back(row);
        std::ranges::sort(rows);
    };
    collect(found.grafts, grafted);
    collect(found.replaced.objects, replaced);
}

Result<History> History::load(const Repository& repository, std::span<const Oid> tips, const Progress& progress)
{
    return reload(repository, tips, History(), progress);
}

Result<History> History::reload(const Repository& repository, std::span<const Oid> tips, const History& previous,
                                const Progress& progress)
{
    auto loaded = HistoryBuilder::load(repository, tips, previous.size() > 0 ? &previous : nullptr, progress);
    if (!loaded)
        return std::unexpected(loaded.error());
    if (!loaded->missing.empty())
        return fail(ErrorKind::Broken, "A commit that a branch points at is missing", tips[loaded->missing[0]].hex(),
                    "Fetch again, or run git fsck in the repository");
    return std::move(loaded->history);
}

History::History()
{
    static const auto none = std::make_shared<const Data>();
    m_data = none;
}
History::~History() = default;
History::History(History&&) noexcept = default;
History& History::operator=(History&&) noexcept = default;

Row History::size() const { return Row(m_data->ids.size()); }
const Oid& History::id(Row row) const { return m_data->ids[row]; }
std::span<const Row> History::parents(Row row) const { return m_data->parentsOf(row); }
std::int64_t History::time(Row row) const { return m_data->times[row]; }
const std::vector<std::string>& History::notices() const { return m_data->notices; }
const std::string& History::overrides() const { return m_data->overrides; }
bool History::isBoundary(Row row) const { return std::ranges::binary_search(m_data->boundaries, row); }

bool History::isGrafted(Row row) const { return std::ranges::binary_search(m_data->grafted, row); }
bool History::isReplaced(Row row) const { return std::ranges::binary_search(m_data->replaced, row); }
Row History::find(const Oid& id) const { return m_data->find(id); }

std::vector<Row> History::findPrefix(std::string_view hexPrefix, std::size_t limit) const
{
    std::vector<Row> rows;
    if (hexPrefix.size() > 40)
        return rows;
    std::string padded(hexPrefix);
    padded.resize(40, '0');
    const auto first = Oid::parse(padded);
    std::ranges::fill(padded.begin() + std::ptrdiff_t(hexPrefix.size()), padded.end(), 'f');
    const auto last = Oid::parse(padded);
    if (!first || !last)
        return rows;
    const auto idOf = [&](Row row) -> const Oid& { return m_data->ids[row]; };
    for (auto at = std::ranges::lower_bound(m_data->byId, *first, {}, idOf);
         at != m_data->byId.end() && idOf(*at) <= *last && rows.size() < limit; ++at)
        rows.push_back(*at);
    return rows;
}

std::size_t History::bytes() const
{
    const Data& d = *m_data;
    return sizeof d + d.ids.capacity() * sizeof(Oid) + d.times.capacity() * sizeof(std::int64_t) +
           (d.parentStart.capacity() + d.parents.capacity() + d.byId.capacity() + d.fanout.capacity() +
            d.boundaries.capacity()) *
               sizeof(Row);
}

// Painting down from both sides, as in git's commit-reach; exact in one pass because rows are in topological order.
std::vector<Row> History::mergeBases(Row a, Row b) const
{
    if (a >= size() || b >= size())
        return {};
    if (a == b)
        return {a};
    enum : std::uint8_t { FromA = 1, FromB = 2, Both = 3, Below = 4 };
    RowFlags flags(size());
    RowQueue queue;
    std::size_t open = 2; // rows in the queue that are not below a base already found
    std::vector<Row> bases;
    flags[a] = FromA;
    flags[b] = FromB;
    queue.push(a);
    queue.push(b);
    while (open > 0) {
        const Row row = queue.top();
        queue.pop();
        std::uint8_t painted = flags[row];
        if ((painted & Below) == 0) {
            --open;
            if (painted == Both) {
                bases.push_back(row);
                painted |= Below;
            }
        }
        for (const Row parent : parents(row)) {
            const std::uint8_t before = flags[parent], now = before | painted;
            if (now == before)
                continue;
            flags[parent] = now;
            if (before == 0)
                queue.push(parent);
            const bool wasOpen = before != 0 && (before & Below) == 0, isOpen = (now & Below) == 0;
            open = open + (isOpen && !wasOpen) - (wasOpen && !isOpen);
        }
    }
    return bases;
}

bool History::isAncestor(Row ancestor, Row descendant) const
{
    if (ancestor >= size() || descendant >= size())
        return false;
    RowFlags seen(size());
    std::vector<Row> waiting{descendant};
    while (!waiting.empty()) {
        const Row row = waiting.back();
        waiting.pop_back();
        if (row == ancestor)
            return true;
        for (const Row parent : parents(row))
            if (parent <= ancestor && !seen[parent]) {
                seen[parent] = 1;
                waiting.push_back(parent);
            }
    }
    return false;
}

std::vector<Row> History::onlyIn(Row of, Row without) const
{
    return onlyIn(std::span(&of, 1), without == noRow ? std::span<const Row>() : std::span<const Row>(&without, 1));
}

std::vector<Row> History::onlyIn(std::span<const Row> of, std::span<const Row> without) const
{
    enum : std::uint8_t { Wanted = 1, Excluded = 2 };
    RowFlags flags(size());
    RowQueue queue;
    std::size_t wanted = 0; // rows in the queue that are not excluded
    std::vector<Row> rows;
    const auto paint = [&](Row row, std::uint8_t colour) {
        const std::uint8_t before = flags[row], now = before | colour;
        if (now == before)
            return;
        flags[row] = now;
        if (before == 0)
            queue.push(row);
        wanted = wanted + (now == Wanted) - (before == Wanted);
    };
    for (const Row row : of)
        if (row < size())
            paint(row, Wanted);
    for (const Row row : without)
        if (row < size())
            paint(row, Excluded);
    while (wanted > 0) {
        const Row row = queue.top();
        queue.pop();
        const std::uint8_t painted = flags[row];
        if (painted == Wanted) {
            --wanted;
            rows.push_back(row);
        }
        for (const Row parent : parents(row))
            paint(parent, painted);
    }
    return rows;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/big_endian.h"
#include "core/git/pack_reader.h"
#include "core/history/commit_graph.h"
#include "core/history/commit_headers.h"
#include "core/history/first_rows.h"
#include "core/history/history_data.h"
#include "core/history/row_order.h"

#include <algorithm>
#include <numeric>
#include <ranges>

namespace espalier {

namespace {

using Index = std::uint32_t; // numbers commits while the table is made
constexpr Index noIndex = 0xFFFFFFFF;

// Indices by id, open addressing; the ids themselves stay where they are.
class IdTable {
  public:
    explicit IdTable(const std::vector<Oid>& ids) : m_ids(ids), m_slots(1024, noIndex) {}
    Index find(const Oid& id) const
    {
        for (std::size_t at = slot(id);; at = (at + 1) & (m_slots.size() - 1))
            if (m_slots[at] == noIndex || m_ids[m_slots[at]] == id)
                return m_slots[at];
    }
    void add(Index index)
    {
        if (++m_count * 2 > m_slots.size()) {
            std::vector<Index> old(m_slots.size() * 2, noIndex);
            std::swap(old, m_slots);
            for (const Index known : old)
                if (known != noIndex)
                    place(known);
        }
        place(index);
    }

  private:
    std::size_t slot(const Oid& id) const { return std::hash<Oid>()(id) & (m_slots.size() - 1); }
    void place(Index index)
    {
        std::size_t at = slot(m_ids[index]);
        while (m_slots[at] != noIndex)
            at = (at + 1) & (m_slots.size() - 1);
        m_slots[at] = index;
    }
    const std::vector<Oid>& m_ids;
    std::vector<Index> m_slots;
    std::size_t m_count = 0;
};

std::unexpected<Error> brokenHistory(std::string what, const Oid& id)
{
    return fail(ErrorKind::Broken, std::move(what), id.hex(), "Fetch again, or run git fsck in the repository");
}

// Sorted by the commits' ids.
void sortById(std::vector<Index>& indices, const std::vector<Oid>& ids)
{
    std::vector<std::pair<std::uint64_t, Index>> keyed;
    keyed.reserve(indices.size());
    for (const Index index : indices)
        keyed.emplace_back(longWord(ids[index].bytes.data()), index);
    std::ranges::sort(keyed, [&](const auto& a, const auto& b) {
        return a.first != b.first ? a.first < b.first : ids[a.second] < ids[b.second];
    });
    for (std::size_t i = 0; i < keyed.size(); ++i)
        indices[i] = keyed[i].second;
}

// The commits as they are found: first those that the base (a commit-graph or an earlier table) numbers, then those
// that had to be read.
class Gathering {
  public:
    Gathering(const Repository& repository, const Overrides& overrides, const Progress& progress)
        : m_repository(repository), m_overrides(overrides), m_progress(progress), m_table(m_ids)
    {
        m_graph.parentStart.push_back(0);
    }

    void takeBase(const CommitGraph& graph)
    {
        m_base = graph.size();
        m_ids.reserve(m_base);
        m_graph.times.reserve(m_base);
        m_graph.parentStart.reserve(m_base + 1);
        for (Index i = 0; i < m_base; ++i) {
            m_ids.push_back(graph.idAt(i));
            m_graph.times.push_back(graph.timeAt(i));
            graph.parentsAt(i, m_graph.parents);
            m_graph.parentStart.push_back(Index(m_graph.parents.size()));
        }
        m_findInBase = [&graph](const Oid& id) { return graph.find(id).value_or(noIndex); };
    }
    // `boundaries` are rows of `previous`, `byId` its rows by id.
    void takeBase(const History& previous, std::vector<Oid> ids, std::vector<std::int64_t> times,
                  std::vector<Index> parentStart, std::vector<Index> parents, const std::vector<Row>& boundaries)
    {
        m_base = Index(ids.size());
        m_ids = std::move(ids);
        m_graph = {std::move(times), std::move(parentStart), std::move(parents)};
        m_boundaries = boundaries;
        m_findInBase = [&previous](const Oid& id) { return Index(previous.find(id)); };
    }

    Index indexOf(const Oid& id)
    {
        if (m_findInBase)
            if (const Index known = m_findInBase(id); known != noIndex)
                return known;
        if (const Index known = m_table.find(id); known != noIndex)
            return known;
        m_ids.push_back(id);
        m_table.add(Index(m_ids.size() - 1));
        return Index(m_ids.size() - 1);
    }

    // The newest rows of what `tips` reach, reading what they need and no more.
    HistoryBuilder::Loaded newest(std::span<const Index> tips)
    {
        readNext();
        std::vector<Oid> ids;
        for (Index tip : tips) {
            // What a tag points at has a number but may not have been read.
            for (int depth = 0; depth < 64 && tip < m_graph.times.size() && kindOf(tip) == CommitHeader::Tag; ++depth)
                tip = m_tagged[tip - m_base];
            ids.push_back(m_ids[tip]);
        }
        const auto lookUp = [this](const Oid& id) -> std::optional<KnownCommit> {
            const Index index = m_findInBase && m_findInBase(id) != noIndex ? m_findInBase(id) : m_table.find(id);
            KnownCommit commit;
            if (index != noIndex && index < m_graph.times.size()) {
                if (kindOf(index) != CommitHeader::Commit)
                    return std::nullopt;
                commit.time = m_graph.times[index];
                for (const Index parent : m_graph.parentsOf(index))
                    commit.parents.push_back(m_ids[parent]);
                return commit;
            }
            auto batch = m_reader->read(std::span(&id, 1));
            if (batch.headers[0].kind != CommitHeader::Commit)
                return std::nullopt;
            commit.time = batch.headers[0].time;
            commit.parents = std::move(batch.parents);
            return commit;
        };
        HistoryBuilder::Loaded loaded;
        loaded.history = newestRows(ids, HistoryBuilder::firstRows, lookUp);
        for (const Oid& id : ids)
            loaded.rows.push_back(loaded.history.find(id));
        return loaded;
    }

    // Reads what indexOf() has added, and what that leads to.
    Result<void> readAll()
    {
        std::size_t told = 0;
        while (m_graph.times.size() < m_ids.size()) {
            if (m_progress.stopped())
                return cancelled();
            if (m_ids.size() - told > 5000) {
                told = m_ids.size();
                m_progress.report("Reading commits", told);
            }
            readNext();
        }
        for (Index i = m_base; i < m_ids.size(); ++i)
            for (const Index parent : m_graph.parentsOf(i))
                if (kindOf(parent) != CommitHeader::Commit)
                    return brokenHistory("A commit's parent is missing or damaged", m_ids[parent]);
        return {};
    }

    // The commit a tip stands for; noIndex when it is none.
    Index peeled(Index index) const
    {
        for (int depth = 0; depth < 64 && kindOf(index) == CommitHeader::Tag; ++depth)
            index = m_tagged[index - m_base];
        return kindOf(index) == CommitHeader::Commit ? index : noIndex;
    }
    CommitHeader::Kind kindOf(Index index) const
    {
        return index < m_base ? CommitHeader::Commit : m_kinds[index - m_base];
    }

    // What the tips reach, sorted by id.
    std::vector<Index> reachable(std::span<const Index> tips, const std::vector<Row>* baseById) const
    {
        std::vector<std::uint8_t> seen(m_ids.size());
        std::vector<Index> waiting;
        const auto visit = [&](Index index) {
            if (!std::exchange(seen[index], std::uint8_t(1)))
                waiting.push_back(index);
        };
        for (const Index tip : tips)
            if (tip != noIndex)
                visit(tip);
        while (!waiting.empty()) {
            const Index index = waiting.back();
            waiting.pop_back();
            for (const Index parent : m_graph.parentsOf(index))
                visit(parent);
        }
        std::vector<Index> base, read, all;
        base.reserve(m_base);
        for (Index i = 0; i < m_base; ++i)
            if (const Index index = baseById ? (*baseById)[i] : i; seen[index])
                base.push_back(index);
        for (Index i = m_base; i < m_ids.size(); ++i)
            if (seen[i])
                read.push_back(i);
        const auto less = [&](Index a, Index b) { return m_ids[a] < m_ids[b]; };
        if (!baseById && !std::ranges::is_sorted(base, less))
            sortById(base, m_ids); // the layers of a chain are sorted each by itself
        sortById(read, m_ids);
        // What was read is often little beside the base, as after a fetch; then hardly any ids are compared.
        all.reserve(base.size() + read.size());
        auto from = base.begin();
        for (const Index index : read) {
            const auto to = read.size() * 8 < base.size()
                                ? std::lower_bound(from, base.end(), index, less)
                                : std::find_if_not(from, base.end(), [&](Index i) { return less(i, index); });
            all.insert(all.end(), from, to);
            all.push_back(index);
            from = to;
        }
        all.insert(all.end(), from, base.end());
        return all;
    }

    const WorkGraph& graph() const { return m_graph; }
    const std::vector<Oid>& ids() const { return m_ids; }
    const std::vector<Index>& boundaries() const { return m_boundaries; }

  private:
    // What has been added and not been read.
    void readNext()
    {
        if (!m_reader)
            m_reader.emplace(m_repository, m_overrides);
        const std::vector<Oid> asked(m_ids.begin() + std::ptrdiff_t(m_graph.times.size()), m_ids.end());
        const auto batch = m_reader->read(asked);
        for (const CommitHeader& header : batch.headers)
            take(header, std::span(batch.parents).subspan(header.firstParent, header.parentCount));
    }

    void take(const CommitHeader& header, std::span<const Oid> parents)
    {
        const auto self = Index(m_graph.times.size());
        m_kinds.push_back(header.kind);
        m_tagged.push_back(noIndex);
        m_graph.times.push_back(header.time);
        if (header.kind == CommitHeader::Tag)
            m_tagged.back() = indexOf(parents[0]);
        else
            for (const Oid& parent : parents)
                m_graph.parents.push_back(indexOf(parent));
        m_graph.parentStart.push_back(Index(m_graph.parents.size()));
        if (header.boundary)
            m_boundaries.push_back(self);
    }

    const Repository& m_repository;
    const Overrides& m_overrides;
    const Progress& m_progress;
    Index m_base = 0;
    std::function<Index(const Oid&)> m_findInBase;
    std::vector<Oid> m_ids;
    WorkGraph m_graph;
    std::vector<Index> m_boundaries;
    std::vector<CommitHeader::Kind> m_kinds; // from m_base on
    std::vector<Index> m_tagged;             // from m_base on: what a tag points at
    IdTable m_table;
    std::optional<CommitHeaders> m_reader;
};

// The columns of the table from the gathered commits, in their order.
void fillColumns(auto& data, const Gathering& from, std::span<const Index> order, std::span<const Index> byId,
                 std::vector<Row>& rowOf)
{
    rowOf.assign(from.ids().size(), noRow);
    for (Row row = 0; row < order.size(); ++row)
        rowOf[order[row]] = row;
    data.ids.reserve(order.size());
    data.times.reserve(order.size());
    data.parentStart.clear();
    data.parentStart.reserve(order.size() + 1);
    data.parentStart.push_back(0);
    std::size_t parentCount = 0;
    for (const Index index : order)
        parentCount += from.graph().parentsOf(index).size();
    data.parents.reserve(parentCount);
    for (const Index index : order) {
        data.ids.push_back(from.ids()[index]);
        data.times.push_back(from.graph().times[index]);
        for (const Index parent : from.graph().parentsOf(index))
            data.parents.push_back(rowOf[parent]);
        data.parentStart.push_back(Index(data.parents.size()));
    }
    data.byId.reserve(byId.size());
    for (const Index index : byId)
        data.byId.push_back(rowOf[index]);
    for (const Index index : from.boundaries())
        if (rowOf[index] != noRow)
            data.boundaries.push_back(rowOf[index]);
    std::ranges::sort(data.boundaries);
    data.makeFanout();
}

bool hasDoubles(std::span<const Index> byId, const std::vector<Oid>& ids)
{
    return std::ranges::adjacent_find(byId, [&](Index a, Index b) { return ids[a] == ids[b]; }) != byId.end();
}

} // namespace

Result<HistoryBuilder::Loaded> HistoryBuilder::load(const Repository& repository, std::span<const Oid> tips,
                                                    const History* previous, const Progress& progress,
                                                    const std::function<void(Loaded)>& first)
{
    const Overrides overrides = readOverrides(repository);
    auto data = std::make_shared<History::Data>();
    data->overrides = overrides.fingerprint;
    data->notices = overrides.notices();

    const History::Data* known = previous ? previous->m_data.get() : nullptr;
    if (known && known->overrides != overrides.fingerprint)
        known = nullptr;
    std::optional<CommitGraph> graph;
    // git does not use the file either where parents differ from what the commits say.
    if (!known && overrides.empty()) {
        auto opened = CommitGraph::open(objectFolders(repository.commonDir()));
        if (opened)
            graph = std::move(*opened);
        else
            data->notices.push_back(opened.error().line() + " The commits are read one by one instead.");
    }
    for (;;) {
        Gathering gathering(repository, overrides, progress);
        if (known) {
            data->notices = known->notices;
            gathering.takeBase(*previous, known->ids, known->times, known->parentStart, known->parents,
                               known->boundaries);
        } else if (graph) {
            gathering.takeBase(*graph);
        }
        std::vector<Index> indices;
        indices.reserve(tips.size());
        for (const Oid& tip : tips)
            indices.push_back(gathering.indexOf(tip));
        if (first && !known)
            if (Loaded newest = gathering.newest(indices); newest.history.size() > 0)
                first(std::move(newest));
        if (auto read = gathering.readAll(); !read)
            return std::unexpected(read.error());

        Loaded loaded;
        for (std::size_t i = 0; i < indices.size(); ++i) {
            const auto kind = gathering.kindOf(indices[i]);
            if (kind == CommitHeader::Missing || kind == CommitHeader::Damaged)
                loaded.missing.push_back(i);
            indices[i] = gathering.peeled(indices[i]);
        }
        const auto byId = gathering.reachable(indices, known ? &known->byId : nullptr);
        const auto order = displayOrder(gathering.graph(), byId);
        // An earlier table was found to be sound when it was made, and is asked first for every id.
        if (order.size() < byId.size() || (!known && hasDoubles(byId, gathering.ids()))) {
            if (!graph)
                return fail(ErrorKind::Broken, "The history has a loop", {}, "Look at info/grafts and refs/replace");
            graph.reset();
            data->notices.push_back("The commit-graph file makes no sense. The commits are read one by one instead.");
            continue;
        }
        if (progress.stopped())
            return cancelled();
        std::vector<Row> rowOf;
        fillColumns(*data, gathering, order, byId, rowOf);
        data->findAltered(overrides);
        loaded.rows.reserve(indices.size());
        for (const Index index : indices)
            loaded.rows.push_back(index == noIndex ? noRow : rowOf[index]);
        loaded.history.m_data = std::move(data);
        return loaded;
    }
}

History HistoryBuilder::fromRows(std::vector<Oid> ids, std::vector<std::int64_t> times,
                                 std::vector<std::uint32_t> parentStart, std::vector<Row> parents)
{
    auto data = std::make_shared<History::Data>();
    data->byId.resize(ids.size());
    std::iota(data->byId.begin(), data->byId.end(), Row(0));
    std::ranges::sort(data->byId, {}, [&](Row row) { return ids[row]; });
    data->ids = std::move(ids);
    data->times = std::move(times);
    data->parentStart = std::move(parentStart);
    data->parents = std::move(parents);
    data->makeFanout();
    History history;
    history.m_data = std::move(data);
    return history;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/replay/commit_table_private.h"

#include "core/git/pack_reader.h"
#include "core/history/commit_headers.h"
#include "core/history/history.h"

#include <algorithm>
#include <map>
#include <queue>
#include <ranges>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

Result<void> CommitTable::Data::load(ObjectStore& store, Index index)
{
    if (nodes[index].known)
        return {};
    std::vector<Oid> parentIds;
    std::int64_t time = 0;
    const Oid id = ids[index];
    if (const Row row = known ? known->find(id) : noRow; row != noRow) {
        for (const Row parent : known->parents(row))
            parentIds.push_back(known->id(parent));
        set(index, parentIds, known->time(row));
        return {};
    }
    if (const auto position = graph ? graph->find(id) : std::nullopt) {
        std::vector<std::uint32_t> positions;
        graph->parentsAt(*position, positions);
        for (const std::uint32_t parent : positions)
            parentIds.push_back(graph->idAt(parent));
        set(index, parentIds, graph->timeAt(*position));
        return {};
    }
    const auto object = store.read(id, ObjectType::Commit);
    if (!object)
        return std::unexpected(object.error());
    if (!parseHeader(object->view(), parentIds, time) || parentIds.size() > 0xFFFF)
        return fail(ErrorKind::Broken, "A commit object is damaged", id.hex(), "Run git fsck in the repository");
    if (auto given = overrides.parentsOf(id))
        parentIds = std::move(*given);
    set(index, parentIds, time);
    return {};
}

void CommitTable::Data::set(Index index, const std::vector<Oid>& parentIds, std::int64_t time)
{
    std::vector<Index> mapped;
    mapped.reserve(parentIds.size());
    for (const Oid& parent : parentIds)
        mapped.push_back(indexOf(parent));
    Node& node = nodes[index];
    node.firstParent = Index(parents.size());
    node.parentCount = std::uint16_t(mapped.size());
    node.time = time;
    node.known = true;
    parents.insert(parents.end(), mapped.begin(), mapped.end());
}

// Walks down from both sides, youngest first, until nothing is left that is not below a common ancestor. It goes on
// while something older could still show that a commit taken for one side's own is everybody's: clocks are not in
// order.
auto CommitTable::Data::paint(ObjectStore& store, Index left, std::span<const Index> rights, const Progress& progress)
    -> Result<Painted>
{
    Painted painted;
    std::priority_queue<Waiting> queue;
    std::uint32_t order = 0;
    std::size_t fresh = 0; // queued entries that are not stale
    std::int64_t oldestOwn = INT64_MAX;
    const auto push = [&](Index index, std::uint8_t flags) -> Result<void> {
        if (auto loaded = load(store, index); !loaded)
            return loaded;
        const bool wasStale = nodes[index].flags & Stale;
        if (!wasStale && (flags & Stale))
            fresh -= nodes[index].queued;
        mark(index, flags);
        ++nodes[index].queued;
        fresh += (nodes[index].flags & Stale) ? 0 : 1;
        queue.push({nodes[index].time, order++, index});
        return {};
    };
    if (auto done = push(left, Left); !done)
        return std::unexpected(done.error());
    for (const Index right : rights)
        if (auto done = push(right, Right); !done)
            return std::unexpected(done.error());
    while (!queue.empty() && (fresh > 0 || queue.top().time >= oldestOwn)) {
        const Index index = queue.top().index;
        queue.pop();
        --nodes[index].queued;
        std::uint8_t flags = nodes[index].flags;
        if (!(flags & Stale))
            --fresh;
        if ((order & 0x3FF) == 0 && progress.stopped())
            return cancelled();
        if ((flags & (Left | Right | Stale)) == (Left | Right)) {
            if (!(flags & Found)) {
                mark(index, Found);
                painted.found.push_back(index);
            }
            flags |= Stale;
        } else if (!(flags & Stale)) {
            oldestOwn = std::min(oldestOwn, nodes[index].time);
        }
        painted.visited.push_back(index);
        flags &= Left | Right | Stale;
        for (std::size_t i = 0; i < nodes[index].parentCount; ++i) {
            const Index parent = parents[nodes[index].firstParent + i];
            if ((nodes[parent].flags & flags) == flags)
                continue;
            if (auto done = push(parent, flags); !done)
                return std::unexpected(done.error());
        }
    }
    std::erase_if(painted.found, [this](Index index) { return nodes[index].flags & Stale; });
    std::ranges::stable_sort(painted.found, [this](Index a, Index b) { return newer(a, b); });
    return painted;
}

// Common ancestors that another one reaches are not the best ones.
auto CommitTable::Data::withoutRedundant(ObjectStore& store, std::vector<Index> found, const Progress& progress)
    -> Result<std::vector<Index>>
{
    std::vector<Index> best;
    for (const Index candidate : found) {
        std::vector<Index> others;
        std::ranges::copy_if(found, std::back_inserter(others), [&](Index other) { return other != candidate; });
        unmark();
        const auto painted = paint(store, candidate, others, progress);
        if (!painted)
            return std::unexpected(painted.error());
        if (!(nodes[candidate].flags & Right))
            best.push_back(candidate);
    }
    return best;
}

CommitTable::CommitTable(const Repository& repository, std::size_t limit, const History* known)
    : m_data(std::make_unique<Data>())
{
    m_data->limit = limit;
    m_data->known = known;
    m_data->overrides = readOverrides(repository);
    if (!m_data->overrides.empty())
        return;
    // A graph that cannot be used only costs time.
    if (auto graph = CommitGraph::open(objectFolders(repository.commonDir())))
        m_data->graph = std::move(*graph);
}

CommitTable::~CommitTable() = default;
CommitTable::CommitTable(CommitTable&&) noexcept = default;

Result<Divergence> CommitTable::divergence(ObjectStore& store, const Oid& left, const Oid& right,
                                           const Progress& progress)
{
    Data& data = *m_data;
    data.start();
    if (left == right)
        return Divergence{{left}, {}, {}};
    Divergence ways;
    const Data::Index leftIndex = data.indexOf(left);
    std::vector<Data::Index> rightIndex;
    if (!right.isZero())
        rightIndex.push_back(data.indexOf(right));
    auto painted = data.paint(store, leftIndex, rightIndex, progress);
    if (!painted)
        return std::unexpected(painted.error());
    for (const Data::Index index : painted->visited) {
        std::uint8_t& flags = data.nodes[index].flags;
        if (flags & Data::Member)
            continue; // visited twice
        data.mark(index, Data::Member);
        const std::uint8_t sides = flags & (Data::Left | Data::Right);
        if (sides == Data::Left)
            ways.onlyLeft.push_back(data.ids[index]);
        else if (sides == Data::Right)
            ways.onlyRight.push_back(data.ids[index]);
    }
    if (painted->found.size() > 1) {
        auto best = data.withoutRedundant(store, std::move(painted->found), progress);
        if (!best)
            return std::unexpected(best.error());
        painted->found = std::move(*best);
    }
    for (const Data::Index index : painted->found)
        ways.mergeBases.push_back(data.ids[index]);
    return ways;
}

Result<OtherCommits> CommitTable::others(ObjectStore& store, const Oid& tip, const Oid& onto, const Progress& progress)
{
    Data& data = *m_data;
    if (!data.answered || data.answered->tip != tip || data.answered->onto != onto ||
        (data.answered->marked > 0 && data.answered->marked != data.marked)) {
        data.start();
        if (auto kept = data.reachFrom(store, onto); !kept)
            return std::unexpected(kept.error());
        const auto above = data.ownAbove(store, data.indexOf(tip), progress);
        if (!above)
            return std::unexpected(above.error());
        Result<std::optional<std::size_t>> count = std::nullopt;
        if (*above)
            count = data.listAbove(store, (*above)->anchor, progress);
        if (!count)
            return std::unexpected(count.error());
        Data::Others answer{tip, onto, count->value_or(0), *count ? data.marked : 0, std::nullopt};
        if (!*count) {
            auto ways = divergence(store, tip, onto, progress);
            if (!ways)
                return std::unexpected(ways.error());
            answer.own = std::move(ways->onlyRight);
        }
        data.answered = std::move(answer);
    }
    if (data.answered->own)
        return OtherCommits{*data.answered->own, {}};
    return OtherCommits{std::span<const Oid>(data.reach.listed).first(data.answered->count), [&data](const Oid& id) {
                            const auto at = data.indices.find(id);
                            return at != data.indices.end() && at->second < data.marks.size() &&
                                   data.marks[at->second] == data.marked;
                        }};
}

Result<OwnCommits> CommitTable::ownCommits(ObjectStore& store, const Oid& tip, const Oid& onto,
                                           const Progress& progress)
{
    m_data->start();
    if (auto kept = m_data->reachFrom(store, onto); !kept)
        return std::unexpected(kept.error());
    auto own = m_data->ownAbove(store, m_data->indexOf(tip), progress);
    if (!own)
        return std::unexpected(own.error());
    if (*own)
        return std::move((*own)->own);
    auto ways = divergence(store, tip, onto, progress);
    if (!ways)
        return std::unexpected(ways.error());
    return OwnCommits{std::move(ways->mergeBases), std::move(ways->onlyLeft)};
}

Result<std::vector<Oid>> CommitTable::parents(ObjectStore& store, const Oid& commit)
{
    const Data::Index index = m_data->indexOf(commit);
    if (auto loaded = m_data->load(store, index); !loaded)
        return std::unexpected(loaded.error());
    std::vector<Oid> ids;
    for (const Data::Index parent : m_data->parentsOf(index))
        ids.push_back(m_data->ids[parent]);
    return ids;
}

Result<std::vector<Oid>> CommitTable::topologicalOrder(ObjectStore& store, const Oid& tip,
                                                       const std::vector<Oid>& commits)
{
    Data& data = *m_data;
    data.start();
    std::unordered_map<Data::Index, unsigned> children; // within the set
    for (const Oid& id : commits)
        children.emplace(data.indexOf(id), 0);
    for (auto& [index, count] : children) {
        if (auto loaded = data.load(store, index); !loaded)
            return std::unexpected(loaded.error());
    }
    for (const Oid& id : commits)
        for (const Data::Index parent : data.parentsOf(data.indexOf(id)))
            if (const auto at = children.find(parent); at != children.end())
                ++at->second;
    std::vector<Oid> order;
    std::vector<Data::Index> stack;
    if (children.contains(data.indexOf(tip)))
        stack.push_back(data.indexOf(tip));
    while (!stack.empty()) {
        const Data::Index index = stack.back();
        stack.pop_back();
        order.push_back(data.ids[index]);
        for (const Data::Index parent : data.parentsOf(index))
            if (const auto at = children.find(parent); at != children.end() && --at->second == 0)
                stack.push_back(parent);
    }
    return order;
}

} // namespace espalier

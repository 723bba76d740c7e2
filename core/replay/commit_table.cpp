// SPDX-License-Identifier: MIT
#include "core/replay/commit_table.h"

#include "core/git/overrides.h"
#include "core/git/pack_reader.h"
#include "core/history/commit_graph.h"
#include "core/history/commit_headers.h"
#include "core/history/history.h"

#include <algorithm>
#include <map>
#include <queue>
#include <ranges>
#include <unordered_map>
#include <unordered_set>

namespace espalier {

namespace {

using Index = std::uint32_t;

enum Flag : std::uint8_t { Left = 1, Right = 2, Stale = 4, Found = 8, Member = 16 };

struct Node {
    std::int64_t time = 0;
    Index firstParent = 0; // into Data::parents
    std::uint16_t parentCount = 0;
    bool known = false;
    std::uint8_t flags = 0;
    std::uint32_t queued = 0; // times that it waits in the queue of a walk
};

// A commit that a walk has yet to visit: the youngest first, of equals the one that came first.
struct Waiting {
    std::int64_t time;
    std::uint32_t order;
    Index index;
    bool operator<(const Waiting& other) const { return time != other.time ? time < other.time : order > other.order; }
};

// What one commit reaches, walked youngest first and no further than has been asked for.
//
// That a commit is not in it is certain only when nothing on the edge leads there, however wrong the clocks are. So each
// commit keeps how far down the line of first parents it hangs: all that hangs at or below a merge base on that line
// is below the merge base, and of no interest to who asks what is above.
struct Reach {
    struct Place {
        std::uint32_t depth = 0; // 1 + the lowest place on the line it is known to be reached from; 0: not reached
        bool visited = false;    // its parents are reached too
    };
    Oid from;
    std::vector<Index> line;   // first parents, from `from` to the first one that is not visited
    std::vector<Place> places; // by index
    std::vector<Index> reached;
    std::vector<Index> deeper;                 // visited, and found to hang lower since: so do its parents
    std::size_t moved = 0;                     // how many of those there were, the same one over and over
    std::priority_queue<Waiting> edge;         // reached, not visited
    std::map<std::uint32_t, std::size_t> open; // how many of the edge, by depth
    // All that hangs above `listedTo`, by depth; made as far as it was asked for.
    std::vector<Oid> listed;
    std::vector<std::uint32_t> depths; // of the listed
    std::uint32_t listedTo = 1;
    std::int64_t oldestListed = INT64_MAX;
    bool overtaken = false; // wrong clocks: something that was listed turned out to hang lower

    // Clocks can be made so wrong that this would never end; depths are then no more than the least that they may be.
    bool sure() const { return moved <= 16 * reached.size() + 100'000; }
    void listNothing()
    {
        listed.clear();
        depths.clear();
        listedTo = 1;
        oldestListed = INT64_MAX;
    }
    std::uint32_t depth(Index index) const { return index < places.size() ? places[index].depth : 0; }
    bool onLine(Index index) const
    {
        const std::uint32_t at = depth(index);
        return at > 0 && line[at - 1] == index;
    }
    void close(std::uint32_t depth)
    {
        const auto at = open.find(depth);
        if (--at->second == 0)
            open.erase(at);
    }
    void reach(Index index, std::int64_t time, std::uint32_t depth)
    {
        if (index >= places.size())
            places.resize(index + 1);
        Place& place = places[index];
        if (place.depth >= depth)
            return;
        overtaken = overtaken || std::max(place.depth, 1u) < listedTo;
        if (place.depth == 0) {
            reached.push_back(index);
            edge.push({time, std::uint32_t(reached.size()), index});
            ++open[depth];
        } else if (!place.visited) {
            close(place.depth);
            ++open[depth];
        } else {
            deeper.push_back(index);
        }
        place.depth = depth;
    }
};

} // namespace

struct CommitTable::Data {
    std::size_t limit;
    const History* known = nullptr;
    Overrides overrides;
    std::optional<CommitGraph> graph; // not where overrides say otherwise
    std::unordered_map<Oid, Index> indices;
    std::vector<Oid> ids;
    std::vector<Node> nodes;
    std::vector<Index> parents;
    std::vector<Index> touched; // nodes whose flags a question has set
    Reach reach;                // of the last new base
    // What a merge base has above the line (see anchorOf), by the number of the question that marked it.
    std::vector<std::uint32_t> marks;
    std::uint32_t marked = 0;
    // The last answer of others(): the first `count` of what the reach lists, or a list of its own.
    struct Others {
        Oid tip, onto;
        std::size_t count = 0;
        std::uint32_t marked = 0; // the question whose marks those that are not meant have
        std::optional<std::vector<Oid>> own;
    };
    std::optional<Others> answered;

    // Before a question that comes from outside: indices are not kept from one to the next.
    void start()
    {
        unmark();
        if (nodes.size() <= limit)
            return;
        reach = {};
        answered.reset();
        indices.clear();
        ids.clear();
        nodes.clear();
        parents.clear();
    }

    void unmark()
    {
        for (const Index index : touched) {
            nodes[index].flags = 0;
            nodes[index].queued = 0;
        }
        touched.clear();
    }

    Index indexOf(const Oid& id)
    {
        const auto [at, isNew] = indices.try_emplace(id, Index(ids.size()));
        if (isNew) {
            ids.push_back(id);
            nodes.emplace_back();
        }
        return at->second;
    }

    void mark(Index index, std::uint8_t flags)
    {
        if (nodes[index].flags == 0)
            touched.push_back(index);
        nodes[index].flags |= flags;
    }

    Result<void> load(ObjectStore& store, Index index)
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

    void set(Index index, const std::vector<Oid>& parentIds, std::int64_t time)
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

    std::span<const Index> parentsOf(Index index) const
    {
        return std::span(parents).subspan(nodes[index].firstParent, nodes[index].parentCount);
    }

    bool newer(Index a, Index b) const { return nodes[a].time > nodes[b].time; }

    struct Painted {
        std::vector<Index> visited; // newest first, as far as the clocks are right
        std::vector<Index> found;   // candidates for merge bases, newest first
    };
    Result<Painted> paint(ObjectStore& store, Index left, std::span<const Index> rights, const Progress& progress);
    Result<std::vector<Index>> withoutRedundant(ObjectStore& store, std::vector<Index> found, const Progress& progress);
    Result<void> reachFrom(ObjectStore& store, const Oid& from);
    Result<void> extendReach(ObjectStore& store, std::int64_t downTo, std::uint32_t depth, const Progress& progress);
    Result<std::uint32_t> anchorOf(ObjectStore& store, Index from, const Progress& progress);
    struct Above {
        OwnCommits own;
        std::uint32_t anchor = 0; // of the merge base
    };
    Result<std::optional<Above>> ownAbove(ObjectStore& store, Index tip, const Progress& progress);
    Result<std::optional<std::size_t>> listAbove(ObjectStore& store, std::uint32_t depth, const Progress& progress);
};

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
Result<std::vector<Index>> CommitTable::Data::withoutRedundant(ObjectStore& store, std::vector<Index> found,
                                                               const Progress& progress)
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
    const Index leftIndex = data.indexOf(left);
    std::vector<Index> rightIndex;
    if (!right.isZero())
        rightIndex.push_back(data.indexOf(right));
    auto painted = data.paint(store, leftIndex, rightIndex, progress);
    if (!painted)
        return std::unexpected(painted.error());
    for (const Index index : painted->visited) {
        std::uint8_t& flags = data.nodes[index].flags;
        if (flags & Member)
            continue; // visited twice
        data.mark(index, Member);
        const std::uint8_t sides = flags & (Left | Right);
        if (sides == Left)
            ways.onlyLeft.push_back(data.ids[index]);
        else if (sides == Right)
            ways.onlyRight.push_back(data.ids[index]);
    }
    if (painted->found.size() > 1) {
        auto best = data.withoutRedundant(store, std::move(painted->found), progress);
        if (!best)
            return std::unexpected(best.error());
        painted->found = std::move(*best);
    }
    for (const Index index : painted->found)
        ways.mergeBases.push_back(data.ids[index]);
    return ways;
}

// Makes `reach` that of `from`, unless it is already.
Result<void> CommitTable::Data::reachFrom(ObjectStore& store, const Oid& from)
{
    if (reach.from == from)
        return {};
    // Emptied rather than made anew: with another new base for every question its size would cost more than its use.
    for (const Index index : reach.reached)
        reach.places[index] = {};
    reach.from = {};
    reach.line.clear();
    reach.reached.clear();
    reach.edge = {};
    reach.open.clear();
    reach.deeper.clear();
    reach.moved = 0;
    reach.listNothing();
    reach.overtaken = false;
    answered.reset();
    if (from.isZero())
        return {};
    const Index index = indexOf(from);
    if (auto loaded = load(store, index); !loaded)
        return loaded;
    reach.from = from;
    reach.line.push_back(index);
    reach.reach(index, nodes[index].time, 1);
    return {};
}

// Afterwards nothing is left to visit that is as young as `downTo`, nor that hangs higher than `depth`.
Result<void> CommitTable::Data::extendReach(ObjectStore& store, std::int64_t downTo, std::uint32_t depth,
                                            const Progress& progress)
{
    while (!reach.edge.empty() && (reach.edge.top().time >= downTo || reach.open.begin()->first < depth)) {
        const Index index = reach.edge.top().index;
        if ((reach.reached.size() & 0x3FF) == 0 && progress.stopped())
            return cancelled();
        // Read before anything is taken off: a walk that fails can be taken up again.
        for (std::size_t i = 0; i < nodes[index].parentCount; ++i)
            if (auto loaded = load(store, parents[nodes[index].firstParent + i]); !loaded)
                return loaded;
        reach.edge.pop();
        reach.close(reach.places[index].depth);
        reach.places[index].visited = true;
        for (const Index parent : parentsOf(index))
            reach.reach(parent, nodes[parent].time, reach.places[index].depth);
        while (reach.places[reach.line.back()].visited && nodes[reach.line.back()].parentCount > 0) {
            const Index next = parentsOf(reach.line.back()).front();
            reach.line.push_back(next);
            reach.reach(next, nodes[next].time, std::uint32_t(reach.line.size()));
        }
        while (!reach.deeper.empty() && reach.sure()) {
            const Index lower = reach.deeper.back();
            reach.deeper.pop_back();
            ++reach.moved;
            for (const Index parent : parentsOf(lower))
                reach.reach(parent, nodes[parent].time, reach.places[lower].depth);
        }
    }
    return {};
}

// The depth of the highest commit on the line that `from`, which is reached, is or stands on; 0 when there is none. All that hangs
// as low is below `from`; what of the rest is, but for `from` on the line, is marked.
Result<std::uint32_t> CommitTable::Data::anchorOf(ObjectStore& store, Index from, const Progress& progress)
{
    ++marked;
    std::uint32_t best = 0;
    std::vector<Index> stack{from}; // first parents first: the line is found soon, and bounds the rest
    while (!stack.empty()) {
        const Index index = stack.back();
        stack.pop_back();
        if (best > 0 && reach.depth(index) >= best)
            continue;
        if (index >= marks.size())
            marks.resize(nodes.size());
        if (marks[index] == marked)
            continue;
        if (auto loaded = load(store, index); !loaded)
            return std::unexpected(loaded.error());
        if (auto done = extendReach(store, nodes[index].time, 0, progress); !done)
            return std::unexpected(done.error());
        if (reach.onLine(index)) {
            best = best > 0 ? std::min(best, reach.depth(index)) : reach.depth(index);
            continue;
        }
        if (progress.stopped())
            return cancelled();
        marks[index] = marked;
        for (const Index parent : parentsOf(index) | std::views::reverse)
            stack.push_back(parent);
    }
    return best;
}

// The walk of paint() from the one side, against what the other reaches. Nothing where that does not tell enough: there
// is not just one merge base, it does not stand on the other's line of first parents, or clocks are so wrong that a commit
// turns out to be reached after it was passed.
auto CommitTable::Data::ownAbove(ObjectStore& store, Index tip, const Progress& progress)
    -> Result<std::optional<Above>>
{
    std::vector<Index> own, found;
    std::priority_queue<Waiting> queue;
    std::uint32_t order = 0;
    std::size_t fresh = 0; // queued, and not known to be below a commit that is found
    std::int64_t oldestOwn = INT64_MAX;
    const auto push = [&](Index index, std::uint8_t flags) -> Result<void> {
        if (auto loaded = load(store, index); !loaded)
            return loaded;
        const bool waits = nodes[index].queued > 0, wasStale = nodes[index].flags & Stale;
        if (waits && !wasStale && (flags & Stale))
            --fresh;
        mark(index, flags);
        if (waits)
            return {};
        nodes[index].queued = 1;
        fresh += (nodes[index].flags & Stale) ? 0 : 1;
        queue.push({nodes[index].time, order++, index});
        return {};
    };
    if (auto done = push(tip, Left); !done)
        return std::unexpected(done.error());
    while (!queue.empty() && (fresh > 0 || queue.top().time >= oldestOwn)) {
        const Index index = queue.top().index;
        queue.pop();
        nodes[index].queued = 0;
        if ((order & 0x3FF) == 0 && progress.stopped())
            return cancelled();
        if (auto done = extendReach(store, nodes[index].time, 0, progress); !done)
            return std::unexpected(done.error());
        std::uint8_t flags = nodes[index].flags & (Left | Stale);
        if (!(flags & Stale)) {
            --fresh;
            if (reach.depth(index) > 0) {
                flags |= Stale;
                found.push_back(index);
            } else if (!(nodes[index].flags & Member)) {
                mark(index, Member);
                own.push_back(index);
                oldestOwn = std::min(oldestOwn, nodes[index].time);
            }
        }
        for (std::size_t i = 0; i < nodes[index].parentCount; ++i) {
            const Index parent = parents[nodes[index].firstParent + i];
            if ((nodes[parent].flags & flags) == flags)
                continue;
            if (auto done = push(parent, flags); !done)
                return std::unexpected(done.error());
        }
    }
    std::erase_if(found, [this](Index index) { return nodes[index].flags & Stale; });
    if (found.size() != 1)
        return std::nullopt;
    const auto anchor = anchorOf(store, found.front(), progress);
    if (!anchor || *anchor == 0)
        return anchor ? Result<std::optional<Above>>(std::nullopt) : std::unexpected(anchor.error());
    auto extended = extendReach(store, INT64_MAX, *anchor, progress);
    if (!extended)
        return std::unexpected(extended.error());
    for (const Index index : own)
        if (reach.depth(index) > 0 || (nodes[index].flags & Stale))
            return std::nullopt;
    Above answer{{}, *anchor};
    answer.own.mergeBases.push_back(ids[found.front()]);
    for (const Index index : own)
        answer.own.commits.push_back(ids[index]);
    return answer;
}

// Lists what hangs higher than `depth`, and returns how many that are; nothing when that cannot be told. Walks on until nothing is
// left to visit that is as young as the oldest of them, as paint() does, and begins anew where that shows one of them to hang
// lower.
Result<std::optional<std::size_t>> CommitTable::Data::listAbove(ObjectStore& store, std::uint32_t depth,
                                                                const Progress& progress)
{
    do {
        if (std::exchange(reach.overtaken, false))
            reach.listNothing();
        if (auto done = extendReach(store, INT64_MAX, depth, progress); !done)
            return std::unexpected(done.error());
        if (depth > reach.listedTo) {
            std::vector<Index> more;
            std::ranges::copy_if(reach.reached, std::back_inserter(more), [&](Index index) {
                return reach.depth(index) >= reach.listedTo && reach.depth(index) < depth;
            });
            std::ranges::sort(more, [&](Index a, Index b) {
                if (reach.depth(a) != reach.depth(b))
                    return reach.depth(a) < reach.depth(b);
                return nodes[a].time != nodes[b].time ? newer(a, b) : ids[a] < ids[b];
            });
            for (const Index index : more) {
                reach.listed.push_back(ids[index]);
                reach.depths.push_back(reach.depth(index));
                reach.oldestListed = std::min(reach.oldestListed, nodes[index].time);
            }
            reach.listedTo = depth;
        }
        if (auto done = extendReach(store, reach.oldestListed, 0, progress); !done)
            return std::unexpected(done.error());
    } while (reach.overtaken && reach.sure());
    if (!reach.sure())
        return std::nullopt;
    return std::size_t(std::ranges::lower_bound(reach.depths, depth) - reach.depths.begin());
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
    const Index index = m_data->indexOf(commit);
    if (auto loaded = m_data->load(store, index); !loaded)
        return std::unexpected(loaded.error());
    std::vector<Oid> ids;
    for (const Index parent : m_data->parentsOf(index))
        ids.push_back(m_data->ids[parent]);
    return ids;
}

Result<std::vector<Oid>> CommitTable::topologicalOrder(ObjectStore& store, const Oid& tip,
                                                       const std::vector<Oid>& commits)
{
    Data& data = *m_data;
    data.start();
    std::unordered_map<Index, unsigned> children; // within the set
    for (const Oid& id : commits)
        children.emplace(data.indexOf(id), 0);
    for (auto& [index, count] : children) {
        if (auto loaded = data.load(store, index); !loaded)
            return std::unexpected(loaded.error());
    }
    for (const Oid& id : commits)
        for (const Index parent : data.parentsOf(data.indexOf(id)))
            if (const auto at = children.find(parent); at != children.end())
                ++at->second;
    std::vector<Oid> order;
    std::vector<Index> stack;
    if (children.contains(data.indexOf(tip)))
        stack.push_back(data.indexOf(tip));
    while (!stack.empty()) {
        const Index index = stack.back();
        stack.pop_back();
        order.push_back(data.ids[index]);
        for (const Index parent : data.parentsOf(index))
            if (const auto at = children.find(parent); at != children.end() && --at->second == 0)
                stack.push_back(parent);
    }
    return order;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// One new base for many topics: the walk from it is kept (see Reach), and each topic is told from that.
#include "core/replay/commit_table_private.h"

#include <algorithm>
#include <ranges>

namespace espalier {

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

} // namespace espalier

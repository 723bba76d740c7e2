// SPDX-License-Identifier: MIT
//
// What only one commit reaches, of many.
#include "core/replay/commit_table_private.h"

#include <algorithm>

namespace espalier {

Result<std::vector<Oid>> CommitTable::reachedOnlyBy(ObjectStore& store, const Oid& tip, std::span<const Oid> others,
                                                    const Progress& progress)
{
    Data& data = *m_data;
    data.start();
    std::priority_queue<Data::Waiting> queue;
    std::uint32_t order = 0;
    std::size_t own = 0; // waiting entries of commits that are still only the tip's
    const auto isOwn = [&](Data::Index index) { return (data.nodes[index].flags & Data::Right) == 0; };
    const auto push = [&](Data::Index index, std::uint8_t side) {
        if (side == Data::Right && isOwn(index))
            own -= data.nodes[index].queued;
        data.mark(index, side);
        ++data.nodes[index].queued;
        own += isOwn(index);
        queue.push({data.nodes[index].time, order++, index});
    };
    for (const Oid& other : others) {
        const Data::Index index = data.indexOf(other);
        // A ref that leads nowhere reaches nothing.
        if (data.load(store, index) && isOwn(index))
            push(index, Data::Right);
    }
    const Data::Index from = data.indexOf(tip);
    if (auto loaded = data.load(store, from); !loaded)
        return std::unexpected(loaded.error());
    if (isOwn(from))
        push(from, Data::Left);
    std::vector<Data::Index> visited;
    std::int64_t oldestOwn = INT64_MAX;
    while (!queue.empty() && (own > 0 || queue.top().time >= oldestOwn)) {
        const Data::Index index = queue.top().index;
        queue.pop();
        Data::Node& node = data.nodes[index];
        --node.queued;
        if ((order & 0x3FF) == 0 && progress.stopped())
            return cancelled();
        const std::uint8_t side = isOwn(index) ? Data::Left : Data::Right;
        if (side == Data::Left) {
            --own;
            oldestOwn = std::min(oldestOwn, node.time);
            if (!(node.flags & Data::Member))
                visited.push_back(index);
            data.mark(index, Data::Member);
        }
        for (std::size_t i = 0; i < data.nodes[index].parentCount; ++i) {
            const Data::Index parent = data.parents[data.nodes[index].firstParent + i];
            if (data.nodes[parent].flags & (side | Data::Right))
                continue;
            if (auto loaded = data.load(store, parent); !loaded)
                return std::unexpected(loaded.error());
            push(parent, side);
        }
    }
    std::vector<Oid> found;
    for (const Data::Index index : visited)
        if (isOwn(index))
            found.push_back(data.ids[index]);
    return topologicalOrder(store, tip, found);
}

} // namespace espalier

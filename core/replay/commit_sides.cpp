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
    const Data::Index from = data.indexOf(tip);
    std::vector<Data::Index> rights;
    for (const Oid& other : others) {
        const Data::Index index = data.indexOf(other);
        // A ref that leads nowhere reaches nothing.
        if (data.load(store, index))
            rights.push_back(index);
    }
    std::ranges::sort(rights);
    const auto again = std::ranges::unique(rights);
    rights.erase(again.begin(), again.end());
    const auto painted = data.paint(store, from, rights, progress);
    if (!painted)
        return std::unexpected(painted.error());
    std::vector<Oid> found;
    for (const Data::Index index : painted->visited) {
        const std::uint8_t flags = data.nodes[index].flags;
        if ((flags & (Data::Left | Data::Right | Data::Member)) != Data::Left)
            continue;
        data.mark(index, Data::Member); // visited twice
        found.push_back(data.ids[index]);
    }
    return topologicalOrder(store, tip, found);
}

} // namespace espalier

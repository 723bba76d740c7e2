// SPDX-License-Identifier: MIT
#include "core/merge/rename_memory.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostMerges = 512, mostNames = 200;

} // namespace

std::optional<FoundRenames> RenameMemory::find(const Trees& trees, int limit)
{
    const std::scoped_lock lock(m_mutex);
    const auto at =
        std::ranges::find_if(m_kept, [&](const Kept& kept) { return kept.limit == limit && kept.trees == trees; });
    return at == m_kept.end() ? std::nullopt : std::optional(at->found);
}

void RenameMemory::keep(const Trees& trees, int limit, const FoundRenames& found)
{
    if (found.to.size() + found.folders.size() > mostNames)
        return;
    const std::scoped_lock lock(m_mutex);
    m_kept.push_front({trees, limit, found});
    if (m_kept.size() > mostMerges)
        m_kept.pop_back();
}

} // namespace espalier

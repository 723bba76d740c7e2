// SPDX-License-Identifier: MIT
#include "core/replay/landed_search.h"

#include "core/tree/lookup.h"
#include "core/tree/three_way.h"

#include <algorithm>
#include <array>

namespace espalier {

Result<bool> LandedSearch::possible(const TreeMerge& merge, const Oid& newBaseTree)
{
    if (m_plan.mergeBase == m_plan.onto)
        return false;
    if (merge.clean())
        return merge.tree == newBaseTree;
    for (const std::string& path : merge.touched) {
        if (std::ranges::contains(merge.conflicts, path, &PathConflict::path))
            continue;
        const auto same = sameAt(m_store, newBaseTree, merge.tree, path);
        if (!same || !*same)
            return same;
    }
    return true;
}

Result<bool> LandedSearch::conceivable(const Oid& before, const Oid& after, const Oid& newBaseTree,
                                       const Progress& progress)
{
    const auto changed = threeWayChanges(m_store, before, newBaseTree, after, false, progress);
    if (!changed)
        return std::unexpected(changed.error());
    return changed->folders.empty() && std::ranges::none_of(changed->leaves, [](const auto& at) {
               const ThreeLeaves& leaves = at.second;
               return leaves.base == leaves.newBase && leaves.base != leaves.commit;
           });
}

Result<OtherCommits> LandedSearch::others(const Progress& progress)
{
    if (m_caches.hurry) {
        m_caches.searchMissed = true;
        return cancelled();
    }
    m_asked = true;
    return m_caches.commits.others(m_store, m_plan.tip, m_plan.onto, progress);
}

Result<std::optional<Oid>> LandedSearch::find(const Oid& commit, const Progress& progress)
{
    const auto below = others(progress);
    if (!below)
        return std::unexpected(below.error());
    const std::array<Oid, 1> mine{commit};
    const auto pairs = equalCommits(m_store, mine, below->commits, *m_caches.equivalence, progress, below->reached);
    if (!pairs)
        return std::unexpected(pairs.error());
    return pairs->empty() ? std::nullopt : std::optional(pairs->front().second);
}

Result<std::optional<Oid>> LandedSearch::findSquash(const Oid& baseTree, const Oid& tipTree, const Progress& progress)
{
    const auto below = others(progress);
    if (!below)
        return std::unexpected(below.error());
    return squashedAs(m_store, baseTree, tipTree, below->commits, *m_caches.equivalence, progress, below->reached);
}

} // namespace espalier

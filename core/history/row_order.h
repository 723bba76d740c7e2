// SPDX-License-Identifier: MIT
//
// The display order of a set of commits: every commit above its parents, and among those that may come next the one with
// the latest time (Kahn, "Topological sorting of large networks", 1962, with a priority). Equal times are ordered by
// id, so that the order depends on the commits alone and not on how they were found.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace espalier {

// A commit graph in the making, in any numbering.
struct WorkGraph {
    std::vector<std::int64_t> times;
    std::vector<std::uint32_t> parentStart; // size of times + 1
    std::vector<std::uint32_t> parents;
    std::span<const std::uint32_t> parentsOf(std::uint32_t commit) const
    {
        return std::span(parents).subspan(parentStart[commit], parentStart[commit + 1] - parentStart[commit]);
    }
};

// The commits of `byId` (sorted by id, closed under parents) in display order. Shorter than `byId` when the graph has a
// cycle. Linear time but for the sort by time, which is by radix.
std::vector<std::uint32_t> displayOrder(const WorkGraph& graph, std::span<const std::uint32_t> byId);

} // namespace espalier

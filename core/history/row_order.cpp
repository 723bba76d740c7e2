// SPDX-License-Identifier: MIT
#include "core/history/row_order.h"

#include <algorithm>
#include <array>
#include <bit>

namespace espalier {

namespace {

// The set of the ranks that are ready, smallest first: a bitmap with summaries above it, so that adding and taking cost
// a step a level (three for a quarter of a million commits) instead of a heap's comparisons.
class ReadyRanks {
  public:
    explicit ReadyRanks(std::size_t size)
    {
        size = std::max<std::size_t>(size, 1); // the topmost level is asked even when there is nothing
        do {
            size = (size + 63) / 64;
            m_levels.emplace_back(size, 0);
        } while (size > 1);
    }
    void add(std::uint32_t rank)
    {
        for (auto& level : m_levels) {
            std::uint64_t& bits = level[rank / 64];
            const bool was = bits != 0;
            bits |= std::uint64_t(1) << (rank % 64);
            if (was)
                return;
            rank /= 64;
        }
    }
    bool empty() const { return m_levels.back()[0] == 0; }
    std::uint32_t takeFirst()
    {
        std::uint32_t rank = 0;
        for (std::size_t i = m_levels.size(); i-- > 0;)
            rank = rank * 64 + std::uint32_t(std::countr_zero(m_levels[i][rank]));
        std::uint32_t at = rank;
        for (auto& level : m_levels) {
            std::uint64_t& bits = level[at / 64];
            bits &= ~(std::uint64_t(1) << (at % 64));
            if (bits != 0)
                break;
            at /= 64;
        }
        return rank;
    }

  private:
    std::vector<std::vector<std::uint64_t>> m_levels;
};

// Sorted by time, the latest first; stable. Digits that all keys share are passed over.
std::vector<std::uint32_t> latestFirst(const WorkGraph& graph, std::span<const std::uint32_t> byId)
{
    struct Item {
        std::uint64_t key;
        std::uint32_t commit;
    };
    std::vector<Item> items, moved(byId.size());
    items.reserve(byId.size());
    std::uint64_t same = ~std::uint64_t(0);
    for (const std::uint32_t commit : byId) {
        // Flipping the sign bit makes signed order unsigned order, flipping all makes it descending.
        items.push_back({~(std::uint64_t(graph.times[commit]) ^ (std::uint64_t(1) << 63)), commit});
        same &= ~(items.back().key ^ items.front().key);
    }
    constexpr int digitBits = 11;
    for (int shift = 0; shift < 64; shift += digitBits) {
        const std::uint64_t mask = ((std::uint64_t(1) << digitBits) - 1) << shift;
        if ((same & mask) == mask)
            continue;
        std::array<std::uint32_t, (1 << digitBits) + 1> starts{};
        for (const Item& item : items)
            ++starts[((item.key & mask) >> shift) + 1];
        for (std::size_t i = 1; i < starts.size(); ++i)
            starts[i] += starts[i - 1];
        for (const Item& item : items)
            moved[starts[(item.key & mask) >> shift]++] = item;
        std::swap(items, moved);
    }
    std::vector<std::uint32_t> order;
    order.reserve(items.size());
    for (const Item& item : items)
        order.push_back(item.commit);
    return order;
}

} // namespace

std::vector<std::uint32_t> displayOrder(const WorkGraph& graph, std::span<const std::uint32_t> byId)
{
    const std::vector<std::uint32_t> ranked = latestFirst(graph, byId);
    std::vector<std::uint32_t> rankOf(graph.times.size()), children(graph.times.size());
    for (std::uint32_t rank = 0; rank < ranked.size(); ++rank) {
        rankOf[ranked[rank]] = rank;
        for (const std::uint32_t parent : graph.parentsOf(ranked[rank]))
            ++children[parent];
    }
    ReadyRanks ready(ranked.size());
    for (std::uint32_t rank = 0; rank < ranked.size(); ++rank)
        if (children[ranked[rank]] == 0)
            ready.add(rank);
    std::vector<std::uint32_t> order;
    order.reserve(ranked.size());
    while (!ready.empty()) {
        const std::uint32_t commit = ranked[ready.takeFirst()];
        order.push_back(commit);
        for (const std::uint32_t parent : graph.parentsOf(commit))
            if (--children[parent] == 0)
                ready.add(rankOf[parent]);
    }
    return order;
}

} // namespace espalier

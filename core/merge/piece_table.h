// SPDX-License-Identifier: MIT
//
// How much of one file is in another, as git's diffcore-rename counts it. Private to core/merge.
//
//     PieceTable table(print);
//     int score = table.scoreOf(other); // of wholeScore
//     int score = table.scoreOf(other, 30000); // the same, or 0 where it is less than that, which most often shows early
#pragma once

#include "core/merge/renames.h"

#include <algorithm>
#include <bit>

namespace espalier {

inline constexpr int wholeScore = 60000; // git's MAX_SCORE

// So many bytes must a file have in common with another of this size, at least, for a score of `least`.
inline std::uint64_t wantedBytes(std::uint64_t size, int least)
{
    return (size * std::uint64_t(least) + wholeScore - 1) / wholeScore;
}

// git's diffcore_count_changes: how many bytes of one are in the other too.
inline std::uint64_t commonBytes(const SimilarityCache::Print& one, const SimilarityCache::Print& other)
{
    std::uint64_t common = 0;
    auto a = one.chunks.begin(), b = other.chunks.begin();
    while (a != one.chunks.end() && b != other.chunks.end()) {
        if (a->first < b->first) {
            ++a;
        } else if (b->first < a->first) {
            ++b;
        } else {
            common += std::min(a->second, b->second);
            ++a, ++b;
        }
    }
    return common;
}

// A file's pieces by hash, to be held against many others: a look a piece, and no branch that the processor guesses wrong at
// every other step, as a walk along both lists has.
class PieceTable {
  public:
    explicit PieceTable(SimilarityCache::PrintPtr print)
        : m_print(std::move(print)), m_slots(std::bit_ceil(m_print->chunks.size() * 4 + 1)), m_mask(m_slots.size() - 1)
    {
        std::size_t longest = 0;
        for (const auto& [hash, bytes] : m_print->chunks) {
            std::size_t steps = 0;
            std::size_t at = slotOf(hash);
            for (; m_slots[at].second > 0; ++steps)
                at = (at + 1) & m_mask;
            m_slots[at] = {hash, bytes};
            longest = std::max(longest, steps);
        }
        // A file made so that its pieces crowd together is walked along.
        if (longest > longestSearch)
            m_slots.clear();
    }
    int scoreOf(const SimilarityCache::Print& target, int least = 0) const
    {
        if (target.size == 0)
            return 0;
        const std::uint64_t larger = std::max(m_print->size, target.size);
        const std::uint64_t wanted = wantedBytes(larger, least);
        if (wanted > target.size)
            return 0;
        const std::uint64_t common =
            m_slots.empty() ? commonBytes(*m_print, target) : find(target, target.size - wanted);
        return common < wanted ? 0 : int(common * wholeScore / larger);
    }

  private:
    static constexpr std::size_t longestSearch = 64;

    std::size_t slotOf(std::uint32_t hash) const { return (hash * 0x9E3779B1u >> 7) & m_mask; }
    // Less than there is where more than `spare` bytes of the target are not here.
    std::uint64_t find(const SimilarityCache::Print& target, std::uint64_t spare) const
    {
        std::uint64_t common = 0, seen = 0;
        for (const auto& [hash, bytes] : target.chunks) {
            for (std::size_t at = slotOf(hash); m_slots[at].second > 0; at = (at + 1) & m_mask)
                if (m_slots[at].first == hash) {
                    common += std::min(m_slots[at].second, bytes);
                    break;
                }
            seen += bytes;
            if (seen - common > spare)
                break;
        }
        return common;
    }

    SimilarityCache::PrintPtr m_print;
    std::vector<std::pair<std::uint32_t, std::uint32_t>> m_slots; // hash, bytes; no bytes: free
    std::size_t m_mask;
};

} // namespace espalier

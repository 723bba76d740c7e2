// SPDX-License-Identifier: MIT
#include "core/merge/likely_sources.h"

#include "core/merge/piece_table.h"

#include <algorithm>

namespace espalier {

namespace {

using Chunk = std::pair<std::uint32_t, std::uint32_t>; // hash, bytes

// The pieces of which whatever has a score of at least `least` has one.
std::vector<Chunk> rareOf(const SimilarityCache::Print& print, std::span<const std::uint32_t> frequencies, int least)
{
    const auto frequency = [&](const Chunk& chunk) {
        return chunk.first < frequencies.size() ? frequencies[chunk.first] : 0;
    };
    std::vector<Chunk> chunks = print.chunks;
    std::ranges::sort(chunks, {}, [&](const Chunk& chunk) { return std::pair(frequency(chunk), chunk.first); });
    const std::uint64_t wanted = wantedBytes(print.size, least);
    std::uint64_t usual = 0;
    while (!chunks.empty() && usual + chunks.back().second < wanted) {
        usual += chunks.back().second;
        chunks.pop_back();
    }
    return chunks;
}

} // namespace

LikelySources::LikelySources(std::span<const SimilarityCache::PrintPtr> prints,
                             std::span<const std::uint32_t> frequencies, int least)
    : m_begins(pieceHashes + 1, 0), m_seen(prints.size(), 0)
{
    std::vector<Chunk> all; // hash, source
    for (std::uint32_t source = 0; source < prints.size(); ++source)
        if (prints[source])
            for (const Chunk& chunk : rareOf(*prints[source], frequencies, least)) {
                all.emplace_back(chunk.first, source);
                ++m_begins[chunk.first + 1];
            }
    for (std::size_t hash = 1; hash < m_begins.size(); ++hash)
        m_begins[hash] += m_begins[hash - 1];
    m_having.resize(all.size());
    std::vector<std::uint32_t> next(m_begins.begin(), m_begins.end() - 1);
    for (const auto& [hash, source] : all)
        m_having[next[hash]++] = source;
}

void LikelySources::of(const SimilarityCache::Print& target, std::vector<std::uint32_t>& found)
{
    found.clear();
    ++m_question;
    for (const Chunk& chunk : target.chunks)
        for (std::uint32_t at = m_begins[chunk.first]; at < m_begins[chunk.first + 1]; ++at)
            if (std::exchange(m_seen[m_having[at]], m_question) != m_question)
                found.push_back(m_having[at]);
    std::ranges::sort(found);
}

} // namespace espalier

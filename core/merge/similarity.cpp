// SPDX-License-Identifier: MIT
#include "core/merge/renames.h"

#include "core/merge/text_merge.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostPrintBytes = std::size_t(64) << 20;

// git's diffcore_count_changes and hash_chars: pieces end at a line end or after 64 bytes.
SimilarityCache::Print printOf(std::string_view bytes)
{
    SimilarityCache::Print print;
    print.size = bytes.size();
    const bool text = !isBinary(bytes);
    std::unordered_map<std::uint32_t, std::uint32_t> counts;
    std::uint32_t first = 0, second = 0, length = 0;
    const auto take = [&] {
        counts[(first + second * 0x61) % 107927] += length;
        first = second = length = 0;
    };
    for (std::size_t i = 0; i < bytes.size(); ++i) {
        const auto c = static_cast<unsigned char>(bytes[i]);
        if (text && c == '\r' && i + 1 < bytes.size() && bytes[i + 1] == '\n')
            continue;
        const std::uint32_t old = first;
        first = (first << 7) ^ (second >> 25);
        second = (second << 7) ^ (old >> 25);
        first += c;
        if (++length == 64 || c == '\n')
            take();
    }
    if (length > 0)
        take();
    print.chunks.assign(counts.begin(), counts.end());
    std::ranges::sort(print.chunks);
    return print;
}

} // namespace

Result<const SimilarityCache::Print*> SimilarityCache::print(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_prints.find(blob); at != m_prints.end())
        return &at->second;
    const auto object = store.read(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    Print print = printOf(object->view());
    m_cost += print.chunks.size() * 8 + 96;
    return &m_prints.emplace(blob, std::move(print)).first->second;
}

Result<std::uint64_t> SimilarityCache::size(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_sizes.find(blob); at != m_sizes.end())
        return at->second;
    const auto size = store.size(blob);
    if (size) {
        m_sizes.emplace(blob, *size);
        m_cost += 64;
    }
    return size;
}

void SimilarityCache::trim()
{
    if (m_cost < mostPrintBytes)
        return;
    m_prints.clear();
    m_sizes.clear();
    m_cost = 0;
}

} // namespace espalier

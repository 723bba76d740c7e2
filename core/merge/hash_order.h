// SPDX-License-Identifier: MIT
//
// The order in which git goes through a table of names. Where two candidates are equally good, git takes the one that it comes
// upon first, and that is decided by its hash table: FNV-1 over the name, 64 buckets, four times as many when more than 80% are
// used, the newest in front. Private to core/merge.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

namespace espalier {

// Indices into `names`, which were added to the table one after the other.
inline std::vector<std::size_t> hashOrder(std::span<const std::string_view> names)
{
    std::vector<std::uint32_t> hashes;
    std::vector<std::vector<std::size_t>> buckets(64); // the newest last
    const auto bucketOf = [&](std::size_t i) -> auto& { return buckets[hashes[i] & (buckets.size() - 1)]; };
    for (std::size_t i = 0; i < names.size(); ++i) {
        std::uint32_t hash = 0x811c9dc5;
        for (const char c : names[i])
            hash = (hash * 0x01000193) ^ static_cast<unsigned char>(c);
        hashes.push_back(hash);
        bucketOf(i).push_back(i);
        if (i + 1 <= buckets.size() * 80 / 100)
            continue;
        std::vector<std::vector<std::size_t>> old(buckets.size() * 4);
        old.swap(buckets);
        for (const auto& bucket : old)
            for (auto at = bucket.rbegin(); at != bucket.rend(); ++at)
                bucketOf(*at).push_back(*at);
    }
    std::vector<std::size_t> order;
    for (const auto& bucket : buckets)
        order.insert(order.end(), bucket.rbegin(), bucket.rend());
    return order;
}

} // namespace espalier

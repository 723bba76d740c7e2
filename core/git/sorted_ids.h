// SPDX-License-Identifier: MIT
//
// Ids in order with a table of 256 counts in front, as git's pack indexes and commit-graphs hold them.
#pragma once

#include "core/git/big_endian.h"
#include "core/git/oid.h"

#include <cstdint>
#include <cstring>
#include <optional>

namespace espalier {

// The place of `id` among `ids` (20 bytes each), counted from 0; nothing when it is not there. `fanout` says for each first
// byte how many ids begin with it or a lower one, as big-endian words; the caller has seen that no count goes beyond the
// ids. Ids out of order are not found, nothing worse.
//
// Ids are spread evenly, so the id's own bytes say about where it is: the search steps out from there, farther each time,
// and halves only what is left between two steps (interpolation and then an exponential search: common practice).
inline std::optional<std::uint32_t> findSorted(const void* fanout, const void* ids, const Oid& id)
{
    const auto upTo = [&](unsigned first) { return word(static_cast<const char*>(fanout) + std::size_t(first) * 4); };
    const std::uint64_t key = longWord(id.bytes.data());
    const auto order = [&](std::uint32_t at) {
        const char* const there = static_cast<const char*>(ids) + std::size_t(at) * 20;
        const std::uint64_t begin = longWord(there);
        return begin != key ? (begin < key ? -1 : 1) : std::memcmp(there + 8, id.bytes.data() + 8, 12);
    };
    std::uint32_t low = id.bytes[0] == 0 ? 0 : upTo(id.bytes[0] - 1u), high = upTo(id.bytes[0]);
    if (low < high) {
        std::uint32_t at = low + std::uint32_t(std::uint64_t(high - low) * std::uint32_t(key >> 24) >> 32);
        for (std::uint64_t width = 8;; width *= 2) {
            const int here = order(at);
            if (here == 0)
                return at;
            // Once it has been on either side of the id, what is left is between the last two steps.
            (here < 0 ? low : high) = here < 0 ? at + 1 : at;
            if (high - low <= width)
                break;
            at = here < 0 ? low + std::uint32_t(width) : high - 1 - std::uint32_t(width);
        }
    }
    while (low < high) {
        const std::uint32_t middle = low + (high - low) / 2;
        const int here = order(middle);
        if (here == 0)
            return middle;
        (here < 0 ? low : high) = here < 0 ? middle + 1 : middle;
    }
    return std::nullopt;
}

} // namespace espalier

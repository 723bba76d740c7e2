// SPDX-License-Identifier: MIT
//
// Numbers as git's files and hashes hold them: the most significant byte first, at any address.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>

namespace espalier {

// The 32 bits at `at`, of which there must be as many.
inline std::uint32_t word(const void* at)
{
    std::uint32_t number;
    std::memcpy(&number, at, sizeof number);
    return std::endian::native == std::endian::little ? std::byteswap(number) : number;
}
// The 64 bits at `at`.
inline std::uint64_t longWord(const void* at)
{
    return std::uint64_t(word(at)) << 32 | word(static_cast<const char*>(at) + 4);
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/sha256.h"

#include <bit>
#include <cstddef>

namespace espalier {

namespace {

using State = std::array<std::uint32_t, 8>;

// FIPS 180-4, 4.2.2: the first 32 bits of the fractional parts of the cube roots of the first 64 primes.
constexpr std::array<std::uint32_t, 64> constants{
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

void addBlock(State& state, const char* block)
{
    std::array<std::uint32_t, 64> w{};
    for (std::size_t t = 0; t < 16; ++t)
        for (std::size_t i = 0; i < 4; ++i)
            w[t] = w[t] << 8 | static_cast<unsigned char>(block[t * 4 + i]);
    for (std::size_t t = 16; t < 64; ++t) {
        const std::uint32_t a = w[t - 15], b = w[t - 2];
        const std::uint32_t low = std::rotr(a, 7) ^ std::rotr(a, 18) ^ a >> 3;
        const std::uint32_t high = std::rotr(b, 17) ^ std::rotr(b, 19) ^ b >> 10;
        w[t] = w[t - 16] + low + w[t - 7] + high;
    }
    auto [a, b, c, d, e, f, g, h] = state;
    for (std::size_t t = 0; t < 64; ++t) {
        const std::uint32_t one = std::rotr(e, 6) ^ std::rotr(e, 11) ^ std::rotr(e, 25);
        const std::uint32_t first = h + one + ((e & f) ^ (~e & g)) + constants[t] + w[t];
        const std::uint32_t zero = std::rotr(a, 2) ^ std::rotr(a, 13) ^ std::rotr(a, 22);
        const std::uint32_t second = zero + ((a & b) ^ (a & c) ^ (b & c));
        h = g;
        g = f;
        f = e;
        e = d + first;
        d = c;
        c = b;
        b = a;
        a = first + second;
    }
    const State added{a, b, c, d, e, f, g, h};
    for (std::size_t i = 0; i < state.size(); ++i)
        state[i] += added[i];
}

} // namespace

std::array<std::uint8_t, 32> sha256(std::string_view bytes)
{
    State state{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    std::string padded(bytes);
    padded += char(0x80);
    padded.append((119 - bytes.size() % 64) % 64, '\0');
    for (int shift = 56; shift >= 0; shift -= 8)
        padded += char(std::uint64_t(bytes.size()) * 8 >> shift);
    for (std::size_t at = 0; at < padded.size(); at += 64)
        addBlock(state, padded.data() + at);
    std::array<std::uint8_t, 32> sum{};
    for (std::size_t i = 0; i < sum.size(); ++i)
        sum[i] = std::uint8_t(state[i / 4] >> (24 - i % 4 * 8));
    return sum;
}

std::string fingerprintOf(std::string_view bytes)
{
    constexpr std::string_view digits = "0123456789ABCDEF";
    std::string text;
    for (const std::uint8_t byte : sha256(bytes)) {
        if (!text.empty())
            text += ':';
        text += digits[byte >> 4];
        text += digits[byte & 15];
    }
    return text;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/sha1.h"

#include "core/git/big_endian.h"

#include <algorithm>
#include <bit>
#include <cstring>

#if defined(__x86_64__) && defined(__GNUC__)
#include <immintrin.h>
#define ESPALIER_SHA_INSTRUCTIONS 1
#endif

namespace espalier {

namespace {

constexpr std::array<std::uint32_t, 5> startState{0x67452301, 0xEFCDAB89, 0x98BADCFE, 0x10325476, 0xC3D2E1F0};

void plainBlocks(std::array<std::uint32_t, 5>& state, const unsigned char* data, std::size_t blocks)
{
    std::uint32_t w[80];
    for (; blocks > 0; --blocks, data += 64) {
        for (int i = 0; i < 16; ++i)
            w[i] = word(data + 4 * i);
        for (int i = 16; i < 80; ++i)
            w[i] = std::rotl(w[i - 3] ^ w[i - 8] ^ w[i - 14] ^ w[i - 16], 1);
        auto [a, b, c, d, e] = state;
        const auto round = [&](std::uint32_t f, std::uint32_t k, std::uint32_t word) {
            const std::uint32_t next = std::rotl(a, 5) + f + e + k + word;
            e = d;
            d = c;
            c = std::rotl(b, 30);
            b = a;
            a = next;
        };
        for (int i = 0; i < 20; ++i)
            round((b & c) | (~b & d), 0x5A827999, w[i]);
        for (int i = 20; i < 40; ++i)
            round(b ^ c ^ d, 0x6ED9EBA1, w[i]);
        for (int i = 40; i < 60; ++i)
            round((b & c) | (b & d) | (c & d), 0x8F1BBCDC, w[i]);
        for (int i = 60; i < 80; ++i)
            round(b ^ c ^ d, 0xCA62C1D6, w[i]);
        state = {state[0] + a, state[1] + b, state[2] + c, state[3] + d, state[4] + e};
    }
}

#ifdef ESPALIER_SHA_INSTRUCTIONS
// Four rounds at a time with the processor's SHA instructions; the constant of a group must be known when compiling.
template <int Group>
__attribute__((target("sha,sse4.1"), always_inline)) inline void fourRounds(__m128i (&w)[4], __m128i& abcd, __m128i& e)
{
    constexpr int now = Group % 4;
    const __m128i before = abcd;
    e = Group == 0 ? _mm_add_epi32(e, w[now]) : _mm_sha1nexte_epu32(e, w[now]);
    abcd = _mm_sha1rnds4_epu32(abcd, e, Group / 5);
    e = before;
    if constexpr (Group < 16) {
        // The word group of four groups later takes the place of this one.
        const __m128i mixed = _mm_xor_si128(_mm_sha1msg1_epu32(w[now], w[(now + 1) % 4]), w[(now + 2) % 4]);
        w[now] = _mm_sha1msg2_epu32(mixed, w[(now + 3) % 4]);
    }
}

template <int... Groups>
__attribute__((target("sha,sse4.1"), always_inline)) inline void allRounds(__m128i (&w)[4], __m128i& abcd, __m128i& e,
                                                                           std::integer_sequence<int, Groups...>)
{
    (fourRounds<Groups>(w, abcd, e), ...);
}

__attribute__((target("sha,sse4.1"))) void fastBlocks(std::array<std::uint32_t, 5>& state, const unsigned char* data,
                                                      std::size_t blocks)
{
    const __m128i swap = _mm_set_epi64x(0x0001020304050607LL, 0x08090a0b0c0d0e0fLL);
    __m128i abcd = _mm_shuffle_epi32(_mm_loadu_si128(reinterpret_cast<const __m128i*>(state.data())), 0x1B);
    __m128i e = _mm_set_epi32(int(state[4]), 0, 0, 0);
    for (; blocks > 0; --blocks, data += 64) {
        const __m128i abcdBefore = abcd, eBefore = e;
        __m128i w[4];
        for (int i = 0; i < 4; ++i)
            w[i] = _mm_shuffle_epi8(_mm_loadu_si128(reinterpret_cast<const __m128i*>(data) + i), swap);
        allRounds(w, abcd, e, std::make_integer_sequence<int, 20>{});
        e = _mm_sha1nexte_epu32(e, eBefore);
        abcd = _mm_add_epi32(abcd, abcdBefore);
    }
    _mm_storeu_si128(reinterpret_cast<__m128i*>(state.data()), _mm_shuffle_epi32(abcd, 0x1B));
    state[4] = std::uint32_t(_mm_extract_epi32(e, 3));
}

bool hasShaInstructions()
{
    static const bool has = __builtin_cpu_supports("sha") && __builtin_cpu_supports("sse4.1");
    return has;
}
#endif

void addBlocks(std::array<std::uint32_t, 5>& state, const unsigned char* data, std::size_t blocks)
{
#ifdef ESPALIER_SHA_INSTRUCTIONS
    if (hasShaInstructions())
        return fastBlocks(state, data, blocks);
#endif
    plainBlocks(state, data, blocks);
}

} // namespace

Sha1::Sha1() : m_state(startState) {}

void Sha1::add(std::string_view bytes)
{
    auto data = reinterpret_cast<const unsigned char*>(bytes.data());
    std::size_t size = bytes.size();
    const std::size_t held = m_length % 64;
    m_length += size;
    if (held > 0) {
        const std::size_t taken = std::min(size, 64 - held);
        std::memcpy(m_block.data() + held, data, taken);
        data += taken;
        size -= taken;
        if (held + taken < 64)
            return;
        addBlocks(m_state, m_block.data(), 1);
    }
    addBlocks(m_state, data, size / 64);
    if (size % 64 != 0)
        std::memcpy(m_block.data(), data + size / 64 * 64, size % 64);
}

Oid Sha1::finish()
{
    const std::uint64_t bits = m_length * 8;
    static constexpr char padding[64] = {char(0x80)};
    add({padding, (m_length % 64 < 56 ? 56 : 120) - m_length % 64});
    char tail[8];
    for (int i = 0; i < 8; ++i)
        tail[i] = char(bits >> (56 - 8 * i));
    add({tail, 8});
    Oid id;
    for (std::size_t i = 0; i < 20; ++i)
        id.bytes[i] = std::uint8_t(m_state[i / 4] >> (24 - 8 * (i % 4)));
    *this = Sha1();
    return id;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/line_shift.h"

#include <algorithm>
#include <cstring>

namespace espalier {

namespace {

// The finalizer of MurmurHash3, which its author put into the public domain.
std::uint64_t mixed(std::uint64_t value)
{
    value = (value ^ value >> 33) * 0xff51afd7ed558ccd;
    value = (value ^ value >> 33) * 0xc4ceb9fe1a85ec53;
    return value ^ value >> 33;
}

// The bytes that both begin with, in whole lines.
std::size_t commonLines(std::string_view a, std::string_view b)
{
    constexpr std::size_t block = 256;
    const std::size_t most = std::min(a.size(), b.size());
    std::size_t common = 0;
    while (common + block <= most && std::memcmp(a.data() + common, b.data() + common, block) == 0)
        common += block;
    while (common < most && a[common] == b[common])
        ++common;
    return a.substr(0, common).rfind('\n') + 1; // npos + 1 is 0
}

// The bytes that both end with, in whole lines.
std::size_t commonLinesAtEnd(std::string_view a, std::string_view b)
{
    constexpr std::size_t block = 256;
    const std::size_t most = std::min(a.size(), b.size());
    std::size_t common = 0;
    const auto fromEnd = [&](std::string_view text, std::size_t count) { return text.data() + text.size() - count; };
    while (common + block <= most && std::memcmp(fromEnd(a, common + block), fromEnd(b, common + block), block) == 0)
        common += block;
    while (common < most && *fromEnd(a, common + 1) == *fromEnd(b, common + 1))
        ++common;
    const std::string_view end = a.substr(a.size() - common);
    const std::size_t line = end.find('\n');
    return line == end.npos ? 0 : common - line - 1;
}

// The lines' hashes, summed; 0 for no line.
std::uint64_t lineSum(std::string_view content)
{
    std::uint64_t sum = 0, line = 0, word = 0;
    unsigned inWord = 0;
    bool begun = false;
    const auto endLine = [&] {
        sum += mixed(line ^ word ^ std::uint64_t(inWord + 1) << 56);
        line = word = 0;
        inWord = 0;
        begun = false;
    };
    for (const char c : content) {
        begun = true;
        if (c == '\n') {
            endLine();
        } else if (c != ' ' && c != '\t' && c != '\r') {
            word = word << 8 | std::uint8_t(c);
            if (++inWord == 7) {
                line = (line ^ word) * 0x9e3779b97f4a7c15;
                line ^= line >> 32;
                word = 0;
                inWord = 0;
            }
        }
    }
    if (begun)
        endLine();
    return sum;
}

} // namespace

std::uint64_t lineShift(std::string_view before, std::string_view after)
{
    const std::size_t begin = commonLines(before, after);
    before.remove_prefix(begin);
    after.remove_prefix(begin);
    const std::size_t end = commonLinesAtEnd(before, after);
    before.remove_suffix(end);
    after.remove_suffix(end);
    return lineSum(after) - lineSum(before);
}

} // namespace espalier

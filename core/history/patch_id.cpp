// SPDX-License-Identifier: MIT
#include "core/history/patch_id.h"

#include <algorithm>

namespace espalier {

void PatchIdSum::addWithoutSpace(std::string_view line)
{
    const auto space = [](char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; };
    while (!line.empty()) {
        const auto from = std::ranges::find_if_not(line, space);
        const auto to = std::find_if(from, line.end(), space);
        m_file.add({from, to});
        line = {to, line.end()};
    }
}

// The sums are added as numbers of 160 bits with the lowest byte first, the last carry dropped.
void PatchIdSum::flush()
{
    const Oid file = m_file.finish();
    unsigned carry = 0;
    for (std::size_t i = 0; i < 20; ++i) {
        carry += unsigned(m_sum.bytes[i]) + file.bytes[i];
        m_sum.bytes[i] = std::uint8_t(carry);
        carry >>= 8;
    }
}

void PatchIdSum::beginFile(std::string_view diffLine)
{
    const bool skipped = m_state == AfterBinary;
    if (m_state == Hunks)
        flush();
    m_state = Header;
    if (!skipped)
        addWithoutSpace(diffLine);
}

void PatchIdSum::headerLine(std::string_view line)
{
    if (line.starts_with("--- "))
        m_state = Hunks;
    addWithoutSpace(line);
}

void PatchIdSum::binary(std::string_view oldId, std::string_view newId)
{
    m_file.add(oldId);
    m_file.add(newId);
    flush();
    m_state = AfterBinary;
}

void PatchIdSum::hunkLine(char sign, std::string_view text)
{
    if (sign != ' ')
        m_file.add({&sign, 1});
    addWithoutSpace(text);
}

Oid PatchIdSum::finish()
{
    flush();
    return m_sum;
}

std::string quotedPath(std::string_view prefix, std::string_view path)
{
    const bool plain =
        std::ranges::none_of(path, [](unsigned char c) { return c < 0x20 || c >= 0x7F || c == '"' || c == '\\'; });
    std::string quoted(prefix);
    if (plain)
        return quoted.append(path);
    quoted.insert(0, 1, '"');
    for (const unsigned char c : path) {
        constexpr std::string_view named = "\a\b\t\n\v\f\r\"\\", letters = "abtnvfr\"\\";
        if (const std::size_t at = named.find(char(c)); at != named.npos) {
            quoted += '\\';
            quoted += letters[at];
        } else if (c < 0x20 || c >= 0x7F) {
            quoted += '\\';
            quoted += char('0' + (c >> 6));
            quoted += char('0' + (c >> 3 & 7));
            quoted += char('0' + (c & 7));
        } else {
            quoted += char(c);
        }
    }
    return quoted + '"';
}

} // namespace espalier

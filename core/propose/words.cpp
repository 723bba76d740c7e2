// SPDX-License-Identifier: MIT
#include "core/propose/words.h"

namespace espalier {

namespace {

enum class Kind { Letter, Blank, LineEnd, Sign };

Kind kindOf(char c)
{
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x80 || c == '_' || (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'))
        return Kind::Letter;
    if (c == ' ' || c == '\t' || c == '\r' || c == '\f' || c == '\v')
        return Kind::Blank;
    return c == '\n' ? Kind::LineEnd : Kind::Sign;
}

bool isSpace(char c) { return kindOf(c) == Kind::Blank || c == '\n'; }

} // namespace

std::vector<std::string_view> wordsOf(std::string_view text)
{
    std::vector<std::string_view> words;
    for (std::size_t at = 0; at < text.size();) {
        const Kind kind = kindOf(text[at]);
        std::size_t end = at + 1;
        if (kind == Kind::Letter || kind == Kind::Blank)
            while (end < text.size() && kindOf(text[end]) == kind)
                ++end;
        words.push_back(text.substr(at, end - at));
        at = end;
    }
    return words;
}

std::vector<std::string_view> linesIn(std::string_view text)
{
    std::vector<std::string_view> lines;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find('\n', at), text.size() - 1) + 1;
        lines.push_back(text.substr(at, end - at));
        at = end;
    }
    return lines;
}

bool isBlank(std::string_view word) { return !word.empty() && isSpace(word.front()); }

std::vector<std::uint32_t> WordNumbers::of(const std::vector<std::string_view>& words)
{
    std::vector<std::uint32_t> numbers;
    numbers.reserve(words.size());
    for (const std::string_view word : words)
        numbers.push_back(m_numbers.try_emplace(word, std::uint32_t(m_numbers.size())).first->second);
    return numbers;
}

std::string masked(std::string_view text)
{
    std::string out;
    char last = ' ';
    for (const char c : text) {
        const char put = isSpace(c) ? ' ' : c >= '0' && c <= '9' ? '0' : c;
        if (!((put == ' ' || put == '0') && put == last))
            out += put;
        last = put;
    }
    if (out.ends_with(' '))
        out.pop_back();
    return out;
}

std::string evened(std::string_view text)
{
    std::string out;
    for (std::string_view line : linesIn(text)) {
        while (!line.empty() && isSpace(line.back()))
            line.remove_suffix(1);
        out.append(line);
        out += '\n';
    }
    const std::size_t first = out.find_first_not_of('\n');
    if (first == out.npos)
        return {};
    return out.substr(first, out.find_last_not_of('\n') + 1 - first);
}

std::string squeezed(std::string_view text)
{
    std::string out;
    for (const char c : text)
        if (!isSpace(c))
            out += c;
    return out;
}

std::uint64_t sumOf(std::string_view text, std::uint64_t seed)
{
    for (const char c : text)
        seed = (seed ^ static_cast<unsigned char>(c)) * 1099511628211u;
    return seed;
}

} // namespace espalier

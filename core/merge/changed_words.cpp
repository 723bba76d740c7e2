// SPDX-License-Identifier: MIT
#include "core/merge/changed_words.h"

#include "core/merge/line_match.h"

#include <algorithm>
#include <cstdint>
#include <string>
#include <unordered_map>

namespace espalier {

namespace {

constexpr std::size_t mostTokens = 20'000; // of a stretch on both sides; above that lines tell enough

struct Token {
    std::string_view text;
    int line = 0, from = 0;
    bool space = false;
};

bool inWord(char c)
{
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' ||
           static_cast<unsigned char>(c) >= 0x80;
}
bool isSpace(char c) { return c == ' ' || c == '\t'; }

std::vector<std::string_view> linesIn(std::string_view text)
{
    std::vector<std::string_view> lines;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size());
        std::string_view line = text.substr(0, end);
        if (line.ends_with('\r'))
            line.remove_suffix(1);
        lines.push_back(line);
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return lines;
}

void addTokens(std::string_view line, int number, std::vector<Token>& tokens)
{
    for (std::size_t at = 0; at < line.size();) {
        std::size_t end = at + 1;
        const auto same = [&](auto of) {
            while (end < line.size() && of(line[end]))
                ++end;
        };
        if (inWord(line[at]))
            same(inWord);
        else if (isSpace(line[at]))
            same(isSpace);
        tokens.push_back({line.substr(at, end - at), number, int(at), isSpace(line[at])});
        at = end;
    }
}

// Spans of the tokens that are not matched. White space counts between words that stayed, and before a line of which nothing else
// changed; else it only goes along between two changed words.
void addSpans(const std::vector<Token>& tokens, const std::vector<char>& matched, std::vector<WordSpan>& spans)
{
    for (std::size_t first = 0; first < tokens.size();) {
        std::size_t end = first;
        bool words = false; // other than white space, changed
        for (; end < tokens.size() && tokens[end].line == tokens[first].line; ++end)
            words = words || (!matched[end] && !tokens[end].space);
        bool open = false;
        for (std::size_t i = first; i < end; ++i) {
            const Token& token = tokens[i];
            const int to = token.from + int(token.text.size());
            const bool between = token.space && i > first && i + 1 < end && !matched[i - 1] && !matched[i + 1];
            const bool counts = !matched[i] && (!token.space || !words || (i > first && matched[i - 1]));
            if (open && (between || (counts && spans.back().to == token.from)))
                spans.back().to = to;
            else if (counts && !(token.space && i + 1 < end && !matched[i + 1]))
                spans.push_back({token.line, token.from, to});
            open = !spans.empty() && spans.back().line == token.line && spans.back().to == to;
        }
        first = end;
    }
}

void wholeLine(std::string_view line, int number, std::vector<WordSpan>& spans)
{
    const auto from = line.find_first_not_of(" \t");
    if (from != std::string_view::npos)
        spans.push_back({number, int(from), int(line.find_last_not_of(" \t")) + 1});
}

// A stretch of lines that was there, and what took its place.
void compare(const std::vector<std::string_view>& before, const std::vector<int>& removed,
             const std::vector<std::string_view>& after, const std::vector<int>& added, ChangedWords& words)
{
    if (removed.empty() || added.empty()) {
        for (const int line : removed)
            wholeLine(before[std::size_t(line)], line, words.before);
        for (const int line : added)
            wholeLine(after[std::size_t(line)], line, words.after);
        return;
    }
    std::vector<Token> old, now;
    for (const int line : removed)
        addTokens(before[std::size_t(line)], line, old);
    for (const int line : added)
        addTokens(after[std::size_t(line)], line, now);
    if (old.size() + now.size() > mostTokens)
        return;
    std::unordered_map<std::string_view, std::uint32_t> numbers;
    const auto numbered = [&](const std::vector<Token>& tokens) {
        std::vector<std::uint32_t> all;
        for (const Token& token : tokens)
            all.push_back(numbers.try_emplace(token.text, std::uint32_t(numbers.size())).first->second);
        return all;
    };
    const std::vector<std::uint32_t> a = numbered(old), b = numbered(now);
    const std::vector<int> at = matchNumbers(a, b);
    std::vector<char> keptOld(old.size(), 0), keptNow(now.size(), 0);
    std::size_t common = 0, larger = 0;
    const auto letters = [](const std::vector<Token>& tokens) {
        std::size_t all = 0;
        for (const Token& token : tokens)
            all += token.space ? 0 : token.text.size();
        return all;
    };
    larger = std::max(letters(old), letters(now));
    for (std::size_t i = 0; i < at.size(); ++i)
        if (at[i] >= 0) {
            keptOld[i] = keptNow[std::size_t(at[i])] = 1;
            common += old[i].space ? 0 : old[i].text.size();
        }
    if (common * 5 < larger) // a fifth: what is left would be brackets and commas
        return;
    addSpans(old, keptOld, words.before);
    addSpans(now, keptNow, words.after);
}

} // namespace

ChangedWords changedWords(std::string_view before, std::string_view after)
{
    ChangedWords words;
    if (before.empty())
        return words;
    const std::vector<std::string_view> old = linesIn(before), now = linesIn(after);
    std::vector<int> removed, added;
    const auto done = [&] {
        compare(old, removed, now, added, words);
        removed.clear();
        added.clear();
    };
    for (const ChangedLine& line : changeOf(before, after)) {
        if (line.kind == ChangedLine::Same)
            done();
        else
            (line.kind == ChangedLine::Removed ? removed : added).push_back(line.line);
    }
    done();
    return words;
}

} // namespace espalier

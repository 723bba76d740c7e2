// SPDX-License-Identifier: MIT
#include "core/settle/likeness.h"

#include "core/settle/compose.h"

#include <algorithm>
#include <array>
#include <map>
#include <vector>

namespace espalier {

namespace {

using Lines = std::vector<std::string_view>;

Lines linesIn(std::string_view text)
{
    Lines lines;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size() - 1) + 1;
        lines.push_back(text.substr(0, end));
        text.remove_prefix(end);
    }
    return lines;
}

bool isSpace(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '\f' || c == '\v'; }

std::string_view indentOf(std::string_view line)
{
    return line.substr(0, std::size_t(std::ranges::find_if_not(line, isSpace) - line.begin()));
}

// A value for each key, or the knowledge that there are several.
using Only = std::map<std::string, std::optional<std::string>>;

void note(Only& only, std::string key, std::string_view value)
{
    const auto [at, isNew] = only.try_emplace(std::move(key), std::string(value));
    if (!isNew && at->second && *at->second != value)
        at->second.reset();
}

Only linesByWords(const HunkSides& sides)
{
    Only only;
    for (const std::string_view side : {sides.ancestor, sides.newBase, sides.commit})
        for (const std::string_view line : linesIn(side))
            if (std::string key = withoutSpaces(line); !key.empty())
                note(only, std::move(key), line);
    return only;
}

// The only place of `part` in `whole`, both as lines; nothing where there is none or more than one, or `part` is empty.
std::optional<std::size_t> onlyPlace(const Lines& part, const Lines& whole)
{
    if (part.empty())
        return std::nullopt;
    const auto first = std::ranges::search(whole, part);
    if (first.empty() || !std::ranges::search(first.begin() + 1, whole.end(), part.begin(), part.end()).empty())
        return std::nullopt;
    return std::size_t(first.begin() - whole.begin());
}

std::string joined(const Lines& lines, std::size_t from, std::size_t to)
{
    std::string text;
    for (std::size_t i = from; i < to; ++i)
        text += lines[i];
    return text;
}

struct Around {
    std::string before, behind;
};

// What of `whole` stands around `part`.
std::optional<Around> aroundOf(std::string_view part, std::string_view whole)
{
    const Lines small = linesIn(part), large = linesIn(whole);
    if (small.empty() && large.empty())
        return Around{};
    const auto at = onlyPlace(small, large);
    if (!at)
        return std::nullopt;
    return Around{joined(large, 0, *at), joined(large, *at + small.size(), large.size())};
}

// What three texts merge to where only one side changed, or both in the same way.
std::optional<std::string> merged(const std::string& ancestor, const std::string& newBase, const std::string& commit)
{
    if (newBase == commit || ancestor == commit)
        return newBase;
    if (ancestor == newBase)
        return commit;
    return std::nullopt;
}

std::optional<Around> mergedAround(const HunkSides& small, const HunkSides& large)
{
    const auto ancestor = aroundOf(small.ancestor, large.ancestor), newBase = aroundOf(small.newBase, large.newBase),
               commit = aroundOf(small.commit, large.commit);
    if (!ancestor || !newBase || !commit)
        return std::nullopt;
    auto before = merged(ancestor->before, newBase->before, commit->before),
         behind = merged(ancestor->behind, newBase->behind, commit->behind);
    if (!before || !behind)
        return std::nullopt;
    return Around{std::move(*before), std::move(*behind)};
}

} // namespace

std::string withoutSpaces(std::string_view text)
{
    std::string even;
    for (const std::string_view line : linesIn(text)) {
        std::string words;
        for (const char c : line) {
            if (!isSpace(c))
                words += c;
            else if (!words.empty() && words.back() != ' ')
                words += ' ';
        }
        if (!words.empty() && words.back() == ' ')
            words.pop_back();
        if (!words.empty())
            even += words + '\n';
    }
    return even;
}

std::optional<std::string> inOtherSpaces(const HunkSides& was, std::string_view text, const HunkSides& now)
{
    const Only then = linesByWords(was), here = linesByWords(now);
    Only indents;
    for (const auto& [words, line] : then)
        if (const auto found = here.find(words); line && found != here.end() && found->second)
            note(indents, std::string(indentOf(*line)), indentOf(*found->second));
    const std::string_view lineEnd = lineEndOf({now.newBase, now.commit});
    std::string fitted;
    for (const std::string_view line : linesIn(text)) {
        const std::string words = withoutSpaces(line);
        if (words.empty()) {
            fitted += lineEnd;
            continue;
        }
        if (const auto found = here.find(words); found != here.end()) {
            if (!found->second)
                return std::nullopt;
            appendLines(fitted, *found->second);
            continue;
        }
        const auto indent = indents.find(std::string(indentOf(line)));
        if (indent == indents.end() || !indent->second)
            return std::nullopt;
        std::string_view rest = line.substr(indentOf(line).size());
        while (!rest.empty() && (rest.back() == '\n' || rest.back() == '\r'))
            rest.remove_suffix(1);
        appendLines(fitted, *indent->second + std::string(rest) + std::string(lineEnd));
    }
    return fitted;
}

std::optional<std::string> withOtherSurroundings(const HunkSides& was, std::string_view text, const HunkSides& now)
{
    if (const auto around = mergedAround(was, now)) {
        std::string whole = around->before;
        appendLines(whole, text);
        appendLines(whole, around->behind);
        return whole;
    }
    const auto around = mergedAround(now, was);
    if (!around || text.size() < around->before.size() + around->behind.size() || !text.starts_with(around->before) ||
        !text.ends_with(around->behind))
        return std::nullopt;
    return std::string(text.substr(around->before.size(), text.size() - around->before.size() - around->behind.size()));
}

} // namespace espalier

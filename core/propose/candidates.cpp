// SPDX-License-Identifier: MIT
#include "core/propose/candidates.h"

#include "core/propose/words.h"

#include <algorithm>
#include <set>

namespace espalier {

namespace {

constexpr std::size_t mostWords = 20'000; // of a side: what is larger is not taken apart

using Numbers = std::vector<std::uint32_t>;

std::string joined(std::span<const std::string_view> parts)
{
    std::string text;
    for (const std::string_view part : parts)
        text.append(part);
    return text;
}

std::string withLineEnd(std::string text)
{
    if (!text.empty() && !text.ends_with('\n'))
        text += '\n';
    return text;
}

bool sameChange(const LineChange& a, const Numbers& inA, const LineChange& b, const Numbers& inB)
{
    return a.a == b.a && a.aCount == b.aCount && a.bCount == b.bCount &&
           std::equal(inA.begin() + a.b, inA.begin() + a.b + a.bCount, inB.begin() + b.b);
}

int openBrackets(std::string_view text)
{
    int open = 0;
    for (const char c : text)
        open += c == '(' || c == '[' || c == '{' ? 1 : c == ')' || c == ']' || c == '}' ? -1 : 0;
    return open;
}

} // namespace

std::string_view candidateKindName(CandidateKind kind)
{
    constexpr std::string_view names[]{"new-base",   "your-commit", "new-base-first", "your-commit-first", "both-words",
                                       "both-lines", "sorted",      "higher-number",  "settled-before"};
    return names[std::size_t(kind)];
}

std::optional<std::string> bothInOrder(std::string_view first, std::string_view second)
{
    if (first.empty() || second.empty())
        return std::nullopt;
    std::set<std::string_view> known;
    for (const std::string_view line : linesIn(first))
        if (line.size() > 4)
            known.insert(line);
    std::string text = withLineEnd(std::string(first));
    for (const std::string_view line : linesIn(second))
        if (!known.contains(line))
            text.append(line);
    return text;
}

std::optional<std::string> wordMerge(const HunkTexts& hunk)
{
    const auto a = wordsOf(hunk.ancestor), n = wordsOf(hunk.newBase), c = wordsOf(hunk.commit);
    if (a.empty() || n.empty() || c.empty() || std::max({a.size(), n.size(), c.size()}) > mostWords)
        return std::nullopt;
    WordNumbers numbers;
    const Numbers ofA = numbers.of(a), ofN = numbers.of(n), ofC = numbers.of(c);
    const auto toN = diffLines(ofA, ofN, LineDiff::Myers), toC = diffLines(ofA, ofC, LineDiff::Myers);
    std::string text;
    std::size_t i = 0, j = 0;
    int at = 0;
    int lastEnd = -2, lastSide = 0;
    while (i < toN.size() || j < toC.size()) {
        const bool fromN = j == toC.size() || (i < toN.size() && toN[i].a <= toC[j].a);
        const bool same = i < toN.size() && j < toC.size() && sameChange(toN[i], ofN, toC[j], ofC);
        const LineChange& change = fromN ? toN[i++] : toC[j++];
        j += same;
        const int side = same ? 3 : fromN ? 1 : 2;
        if (lastSide != 0 && lastSide != side && change.a - lastEnd < 2)
            return std::nullopt;
        text += joined(std::span(a).subspan(std::size_t(at), std::size_t(change.a - at)));
        text += joined(std::span(fromN ? n : c).subspan(std::size_t(change.b), std::size_t(change.bCount)));
        at = change.a + change.aCount;
        lastEnd = at;
        lastSide = side;
    }
    text += joined(std::span(a).subspan(std::size_t(at)));
    if (text == hunk.newBase || text == hunk.commit || text == hunk.ancestor)
        return std::nullopt;
    const int open = openBrackets(text);
    if (open != openBrackets(hunk.newBase) && open != openBrackets(hunk.commit) && open != openBrackets(hunk.ancestor))
        return std::nullopt;
    return text;
}

std::optional<std::string> lineMerge(const HunkTexts& hunk)
{
    if (hunk.newBase.empty() || hunk.commit.empty())
        return std::nullopt;
    const auto a = linesIn(hunk.ancestor), n = linesIn(hunk.newBase), c = linesIn(hunk.commit);
    const std::set<std::string_view> inA(a.begin(), a.end()), inN(n.begin(), n.end()), inC(c.begin(), c.end());
    // Lines of the commit that are new stand after the line that they follow there.
    WordNumbers numbers;
    const Numbers ofN = numbers.of(n), ofC = numbers.of(c);
    std::string text;
    std::size_t i = 0, j = 0;
    const auto takeN = [&](std::size_t end) {
        for (; i < end; ++i)
            if (!inA.contains(n[i]) || inC.contains(n[i]))
                text = withLineEnd(std::move(text)).append(n[i]);
    };
    const auto takeC = [&](std::size_t end) {
        for (; j < end; ++j)
            if (!inA.contains(c[j]) && !inN.contains(c[j]))
                text = withLineEnd(std::move(text)).append(c[j]);
    };
    for (const LineChange& change : diffLines(ofN, ofC, LineDiff::Myers)) {
        takeN(std::size_t(change.a + change.aCount));
        j = std::max(j, std::size_t(change.b));
        takeC(std::size_t(change.b + change.bCount));
    }
    takeN(n.size());
    if (text == hunk.newBase || text == hunk.commit || text.empty())
        return std::nullopt;
    return text;
}

std::optional<std::string> sortedMerge(const HunkTexts& hunk)
{
    const auto a = linesIn(hunk.ancestor), n = linesIn(hunk.newBase), c = linesIn(hunk.commit);
    if (n.empty() || c.empty() || n.size() + c.size() < 3)
        return std::nullopt;
    if (!std::ranges::is_sorted(n) || !std::ranges::is_sorted(c) || !std::ranges::is_sorted(a))
        return std::nullopt;
    const std::set<std::string_view> inA(a.begin(), a.end()), inN(n.begin(), n.end()), inC(c.begin(), c.end());
    std::set<std::string_view> all;
    for (const std::string_view line : n)
        if (!inA.contains(line) || inC.contains(line))
            all.insert(line);
    for (const std::string_view line : c)
        if (!inA.contains(line) || inN.contains(line))
            all.insert(line);
    std::string text;
    for (const std::string_view line : all)
        text = withLineEnd(std::move(text)).append(line);
    if (text == hunk.newBase || text == hunk.commit || text.empty())
        return std::nullopt;
    return text;
}

std::optional<std::string> higherNumbers(const HunkTexts& hunk)
{
    const auto n = wordsOf(hunk.newBase), c = wordsOf(hunk.commit);
    if (n.empty() || n.size() != c.size() || n.size() > mostWords)
        return std::nullopt;
    const auto digits = [](std::string_view word) {
        return std::ranges::all_of(word, [](char x) { return x >= '0' && x <= '9'; });
    };
    std::string text;
    int decided = 0; // 1: the new base's is higher, 2: the commit's; within one run of numbers and dots
    bool any = false;
    for (std::size_t i = 0; i < n.size(); ++i) {
        const bool number = digits(n[i]) && digits(c[i]);
        if (!number && n[i] != c[i])
            return std::nullopt;
        if (number && n[i] != c[i] && decided == 0) {
            const auto value = [](std::string_view word) {
                const std::size_t first = std::min(word.find_first_not_of('0'), word.size());
                return std::pair(word.size() - first, word.substr(first));
            };
            decided = value(n[i]) < value(c[i]) ? 2 : 1;
            any = true;
        }
        text.append(decided == 2 ? c[i] : n[i]);
        if (!number && n[i] != ".")
            decided = 0;
    }
    if (!any)
        return std::nullopt;
    return text;
}

std::vector<Candidate> candidatesFor(const HunkTexts& hunk)
{
    std::vector<Candidate> all{{CandidateKind::NewBase, std::string(hunk.newBase)},
                               {CandidateKind::Commit, std::string(hunk.commit)}};
    const auto add = [&](CandidateKind kind, std::optional<std::string> text) {
        if (text)
            all.push_back({kind, std::move(*text)});
    };
    add(CandidateKind::NewBaseFirst, bothInOrder(hunk.newBase, hunk.commit));
    add(CandidateKind::CommitFirst, bothInOrder(hunk.commit, hunk.newBase));
    add(CandidateKind::Words, wordMerge(hunk));
    add(CandidateKind::Lines, lineMerge(hunk));
    add(CandidateKind::Sorted, sortedMerge(hunk));
    add(CandidateKind::Higher, higherNumbers(hunk));
    return all;
}

namespace {

// How a text stands to another: equal but for white space, empty, holds all of its words in order, …
unsigned relation(std::string_view a, std::string_view b, const Numbers& ofA, const Numbers& ofB)
{
    if (a.empty())
        return 0;
    if (b.empty())
        return 1;
    if (squeezed(a) == squeezed(b))
        return 2;
    if (masked(a) == masked(b))
        return 3;
    int lost = 0, added = 0;
    for (const LineChange& change : diffLines(ofA, ofB, LineDiff::Myers)) {
        lost += change.aCount;
        added += change.bCount;
    }
    if (lost == 0)
        return 4; // b holds all of a
    if (added == 0)
        return 5; // a holds all of b
    const int kept = int(ofA.size()) - lost;
    return kept * 2 > int(std::max(ofA.size(), ofB.size()))   ? 6
           : kept * 5 > int(std::max(ofA.size(), ofB.size())) ? 7
                                                              : 8;
}

unsigned bucket(std::size_t lines) { return lines == 0 ? 0 : lines == 1 ? 1 : lines <= 3 ? 2 : lines <= 10 ? 3 : 4; }

} // namespace

HunkShape shapeOf(const HunkTexts& hunk)
{
    const auto limited = [](std::string_view text) {
        auto words = wordsOf(text);
        std::erase_if(words, isBlank);
        if (words.size() > mostWords)
            words.resize(mostWords);
        return words;
    };
    WordNumbers numbers;
    const Numbers a = numbers.of(limited(hunk.ancestor)), n = numbers.of(limited(hunk.newBase)),
                  c = numbers.of(limited(hunk.commit));
    HunkShape shape;
    shape.edits = relation(hunk.ancestor, hunk.newBase, a, n) * 100 + relation(hunk.ancestor, hunk.commit, a, c) * 10 +
                  relation(hunk.newBase, hunk.commit, n, c);
    shape.fine = shape.edits * 125 + bucket(std::size_t(std::ranges::count(hunk.ancestor, '\n'))) * 25 +
                 bucket(std::size_t(std::ranges::count(hunk.newBase, '\n'))) * 5 +
                 bucket(std::size_t(std::ranges::count(hunk.commit, '\n')));
    return shape;
}

HonouredChanges::Bag HonouredChanges::bagOf(std::string_view text)
{
    Bag bag;
    std::size_t count = 0;
    for (const std::string_view word : wordsOf(text))
        if (!isBlank(word) && ++count <= mostWords)
            ++bag[word];
    return bag;
}

HonouredChanges::HonouredChanges(const HunkTexts& hunk)
    : m_ancestor(bagOf(hunk.ancestor)), m_newBase(bagOf(hunk.newBase)), m_commit(bagOf(hunk.commit))
{
}

Honoured HonouredChanges::of(std::string_view text) const
{
    const Bag bag = bagOf(text);
    const auto count = [](const Bag& in, std::string_view word) {
        const auto found = in.find(word);
        return found == in.end() ? 0 : found->second;
    };
    // Of what `to` has more often than `from`, how much `text` has; the ancestor is on one of the two sides.
    const auto putIn = [&](const Bag& side) {
        int all = 0, kept = 0;
        for (const auto& [word, times] : side) {
            const int before = count(m_ancestor, word);
            all += std::max(0, times - before);
            kept += std::clamp(count(bag, word) - before, 0, std::max(0, times - before));
        }
        return all == 0 ? -1 : kept * 100 / all;
    };
    const auto takenOut = [&](const Bag& side) {
        int all = 0, kept = 0;
        for (const auto& [word, times] : m_ancestor) {
            const int lost = std::max(0, times - count(side, word));
            all += lost;
            kept += std::clamp(times - count(bag, word), 0, lost);
        }
        return all == 0 ? -1 : kept * 100 / all;
    };
    return {putIn(m_newBase), putIn(m_commit), takenOut(m_newBase), takenOut(m_commit)};
}

} // namespace espalier

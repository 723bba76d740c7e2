// SPDX-License-Identifier: MIT
#include "core/merge/text_merge.h"

#include <algorithm>

namespace espalier {

bool rangesMeet(const LineRange& a, const LineRange& b) { return a.first <= b.end() && b.first <= a.end(); }

namespace {

// Sharing a line; an empty range counts as standing between two lines and meets what it stands inside of.
bool overlap(const LineRange& a, const LineRange& b)
{
    if (a.count == 0 || b.count == 0)
        return rangesMeet(a, b);
    return a.first < b.end() && b.first < a.end();
}

} // namespace

std::string_view linesOf(std::string_view text, const LineRange& range)
{
    std::size_t begin = 0;
    for (int i = 0; i < range.first && begin < text.size(); ++i) {
        const std::size_t end = text.find('\n', begin);
        begin = end == std::string_view::npos ? text.size() : end + 1;
    }
    std::size_t end = begin;
    for (int i = 0; i < range.count && end < text.size(); ++i) {
        const std::size_t next = text.find('\n', end);
        end = next == std::string_view::npos ? text.size() : next + 1;
    }
    return text.substr(begin, end - begin);
}

int countLines(std::string_view text)
{
    const auto ends = int(std::ranges::count(text, '\n'));
    return text.empty() || text.back() == '\n' ? ends : ends + 1;
}

std::vector<Segment> segmentsOf(const TextMerge& merge, std::string_view ancestor, std::string_view newBase,
                                std::string_view commit)
{
    std::vector<Segment> segments;
    const std::string_view bytes = merge.bytes;
    int line = 0;
    std::size_t at = 0; // where `line` begins in the bytes
    const auto settledUpTo = [&](int end) {
        const std::string_view text = linesOf(bytes.substr(at), {0, end - line});
        segments.push_back({.conflict = false, .text = text, .ancestor = {}, .newBase = {}, .commit = {}, .hunk = 0});
        at += text.size();
        line = end;
    };
    for (std::size_t i = 0; i < merge.hunks.size(); ++i) {
        const TextHunk& hunk = merge.hunks[i];
        settledUpTo(hunk.result.first);
        segments.push_back({.conflict = true,
                            .text = {},
                            .ancestor = linesOf(ancestor, hunk.ancestor),
                            .newBase = linesOf(newBase, hunk.newBase),
                            .commit = linesOf(commit, hunk.commit),
                            .hunk = i});
        at += linesOf(bytes.substr(at), {0, hunk.result.count}).size();
        line = hunk.result.end();
    }
    settledUpTo(countLines(bytes));
    return segments;
}

std::vector<std::size_t> heldTouched(const TextMerge& merge, std::span<const LineRange> held)
{
    std::vector<std::size_t> touched;
    for (std::size_t i = 0; i < held.size(); ++i)
        if (std::ranges::any_of(merge.pieces, [&](const TextPiece& piece) {
                return piece.origin != PieceOrigin::Unchanged && piece.origin != PieceOrigin::NewBase &&
                       rangesMeet(piece.newBase, held[i]);
            }))
            touched.push_back(i);
    return touched;
}

std::vector<std::size_t> hunksMeeting(const TextMerge& merge, const LineRange& range)
{
    std::vector<std::size_t> met;
    for (std::size_t i = 0; i < merge.hunks.size(); ++i)
        if (rangesMeet(merge.hunks[i].newBase, range))
            met.push_back(i);
    return met;
}

LineRange rangeInResult(const TextMerge& merge, const LineRange& ofNewBase)
{
    int first = -1, last = 0;
    for (const TextPiece& piece : merge.pieces) {
        if (!overlap(piece.newBase, ofNewBase))
            continue;
        const bool lineForLine = piece.newBase.count == piece.result.count && piece.origin != PieceOrigin::Conflict;
        const int from = lineForLine ? piece.result.first + std::max(0, ofNewBase.first - piece.newBase.first)
                                     : piece.result.first;
        const int to = lineForLine ? piece.result.first + std::min(ofNewBase.end(), piece.newBase.end()) - piece.newBase.first
                                   : piece.result.end();
        if (first < 0)
            first = from;
        last = std::max(last, to);
    }
    return first < 0 ? LineRange{countLines(merge.bytes), 0} : LineRange{first, std::max(0, last - first)};
}

std::vector<LineRange> heldInResult(const TextMerge& merge, std::span<const LineRange> heldInNewBase)
{
    std::vector<LineRange> held;
    for (const LineRange& range : heldInNewBase)
        held.push_back(rangeInResult(merge, range));
    for (const TextHunk& hunk : merge.hunks)
        held.push_back(hunk.result);
    std::ranges::sort(held, {}, &LineRange::first);
    std::vector<LineRange> joined;
    for (const LineRange& range : held) {
        if (!joined.empty() && range.first <= joined.back().end())
            joined.back().count = std::max(joined.back().end(), range.end()) - joined.back().first;
        else
            joined.push_back(range);
    }
    return joined;
}

} // namespace espalier

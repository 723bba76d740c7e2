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

std::size_t LineReader::skip(std::size_t at, int lines) const
{
    for (; lines > 0 && at < m_text.size(); --lines) {
        const std::size_t end = m_text.find('\n', at);
        at = end == std::string_view::npos ? m_text.size() : end + 1;
    }
    return at;
}

std::string_view LineReader::read(const LineRange& range)
{
    if (range.first >= m_last.end())
        m_begin = skip(m_end, range.first - m_last.end());
    else if (range.first >= m_last.first)
        m_begin = skip(m_begin, range.first - m_last.first);
    else
        m_begin = skip(0, range.first);
    m_end = skip(m_begin, range.count);
    m_last = {range.first, std::max(range.count, 0)};
    return m_text.substr(m_begin, m_end - m_begin);
}

std::string_view linesOf(std::string_view text, const LineRange& range) { return LineReader(text).read(range); }

int countLines(std::string_view text)
{
    const auto ends = int(std::ranges::count(text, '\n'));
    return text.empty() || text.back() == '\n' ? ends : ends + 1;
}

std::vector<Segment> segmentsOf(const TextMerge& merge, std::string_view ancestor, std::string_view newBase,
                                std::string_view commit)
{
    std::vector<Segment> segments;
    LineReader result(merge.bytes), ofAncestor(ancestor), ofNewBase(newBase), ofCommit(commit);
    int line = 0;
    const auto settledUpTo = [&](int end) {
        segments.push_back({.conflict = false,
                            .text = result.read({line, end - line}),
                            .ancestor = {},
                            .newBase = {},
                            .commit = {},
                            .hunk = 0});
    };
    for (std::size_t i = 0; i < merge.hunks.size(); ++i) {
        const TextHunk& hunk = merge.hunks[i];
        settledUpTo(hunk.result.first);
        segments.push_back({.conflict = true,
                            .text = {},
                            .ancestor = ofAncestor.read(hunk.ancestor),
                            .newBase = ofNewBase.read(hunk.newBase),
                            .commit = ofCommit.read(hunk.commit),
                            .hunk = i,
                            .part = hunk.part,
                            .parts = hunk.parts});
        line = hunk.result.end();
    }
    settledUpTo(countLines(merge.bytes));
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
        const int from =
            lineForLine ? piece.result.first + std::max(0, ofNewBase.first - piece.newBase.first) : piece.result.first;
        const int to = lineForLine
                           ? piece.result.first + std::min(ofNewBase.end(), piece.newBase.end()) - piece.newBase.first
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

// SPDX-License-Identifier: MIT
#include "core/settle/split.h"

#include "core/merge/line_match.h"
#include "core/settle/compose.h"

#include <algorithm>
#include <array>

namespace espalier {

namespace {

bool within(const HunkLines& at, const HunkLines& before, const HunkLines& all)
{
    const auto rises = [](int from, int to, int end) { return from <= to && to <= end; };
    return rises(before.ancestor, at.ancestor, all.ancestor) && rises(before.newBase, at.newBase, all.newBase) &&
           rises(before.commit, at.commit, all.commit) && at != before && at != all;
}

// The cuts of one hunk, in order, that leave lines in each part.
std::vector<HunkLines> cutsOf(std::span<const HunkCut> cuts, const Oid& texts, int which, const HunkLines& all)
{
    std::vector<HunkLines> lines;
    for (const HunkCut& cut : cuts)
        if (cut.hunk == texts && cut.which == which)
            lines.push_back(cut.lines);
    std::ranges::sort(lines);
    HunkLines before;
    std::erase_if(lines, [&](const HunkLines& at) {
        const bool bad = !within(at, before, all);
        if (!bad)
            before = at;
        return bad;
    });
    return lines;
}

LineRange part(const LineRange& all, int from, int to) { return {all.first + from, to - from}; }

// Writes a merge piece by piece.
class Cutter {
  public:
    Cutter(const TextMerge& merge, std::span<const HunkCut> cuts) : m_merge(merge), m_cuts(cuts), m_lines(merge.bytes)
    {
        m_cut.markerSize = merge.markerSize;
        m_cut.bytes.reserve(merge.bytes.size());
    }

    TextMerge run(std::string_view ancestor, std::string_view newBase, std::string_view commit)
    {
        LineReader ofAncestor(ancestor), ofNewBase(newBase), ofCommit(commit);
        auto hunk = m_merge.hunks.begin();
        std::map<Oid, int> seen;
        for (const TextPiece& piece : m_merge.pieces) {
            if (piece.origin != PieceOrigin::Conflict) {
                add(m_lines.read(piece.result), piece);
                continue;
            }
            const Oid texts = textsOfHunk(ofAncestor.read(hunk->ancestor), ofNewBase.read(hunk->newBase),
                                          ofCommit.read(hunk->commit));
            addParts(
                piece, *hunk,
                cutsOf(m_cuts, texts, seen[texts]++, {hunk->ancestor.count, hunk->newBase.count, hunk->commit.count}));
            ++hunk;
        }
        return std::move(m_cut);
    }

  private:
    void add(std::string_view bytes, TextPiece piece)
    {
        piece.result = {m_line, countLines(bytes)};
        m_line = piece.result.end();
        m_cut.bytes += bytes;
        m_cut.pieces.push_back(piece);
    }

    void addParts(const TextPiece& piece, const TextHunk& hunk, std::vector<HunkLines> cuts)
    {
        const int parts = int(cuts.size()) + 1;
        if (parts == 1) {
            add(m_lines.read(piece.result), piece);
            m_cut.hunks.push_back({hunk.ancestor, hunk.newBase, hunk.commit, m_cut.pieces.back().result});
            return;
        }
        cuts.push_back({hunk.ancestor.count, hunk.newBase.count, hunk.commit.count});
        // In marker form: one line, the new base's, one line, the commit's, one line.
        const int first = hunk.result.first, middle = first + 1 + hunk.newBase.count;
        HunkLines from;
        for (int i = 0; i < parts; ++i) {
            const HunkLines to = cuts[std::size_t(i)];
            std::string bytes;
            for (const LineRange& lines :
                 {LineRange{first, 1}, LineRange{first + 1 + from.newBase, to.newBase - from.newBase},
                  LineRange{middle, 1}, LineRange{middle + 1 + from.commit, to.commit - from.commit},
                  LineRange{hunk.result.end() - 1, 1}})
                appendLines(bytes, m_lines.read(lines));
            if (i + 1 < parts && !bytes.ends_with('\n'))
                bytes += '\n';
            TextPiece made = piece;
            made.ancestor = part(hunk.ancestor, from.ancestor, to.ancestor);
            made.newBase = part(hunk.newBase, from.newBase, to.newBase);
            made.commit = part(hunk.commit, from.commit, to.commit);
            add(bytes, made);
            m_cut.hunks.push_back({made.ancestor, made.newBase, made.commit, m_cut.pieces.back().result, i, parts});
            from = to;
        }
    }

    const TextMerge& m_merge;
    std::span<const HunkCut> m_cuts;
    LineReader m_lines;
    TextMerge m_cut;
    int m_line = 0;
};

// Where a cut before a line of `a` goes in `b`. `sure`: a line beside it is the same in both.
struct Beside {
    int line = 0;
    bool sure = false;
};
Beside beside(std::string_view a, std::string_view b, int line)
{
    const std::vector<int> at = matchLines(a, b);
    const int lines = int(at.size());
    line = std::clamp(line, 0, lines);
    int above = line - 1, below = line;
    while (above >= 0 && at[std::size_t(above)] < 0)
        --above;
    while (below < lines && at[std::size_t(below)] < 0)
        ++below;
    const int from = above < 0 ? 0 : at[std::size_t(above)] + 1;
    const int to = below >= lines ? countLines(b) : at[std::size_t(below)];
    if (below == line && below < lines)
        return {to, true};
    if (above == line - 1 && above >= 0)
        return {from, true};
    const int room = below - above - 1; // lines that are in `a` alone
    return {from + (room > 0 ? (to - from) * (line - above - 1) / room : 0), false};
}

// First from the hunk of the segments that the part is of.
std::size_t firstPart(std::span<const Segment> segments, std::size_t hunk)
{
    return hunk - std::size_t(segments[2 * hunk + 1].part);
}

struct Whole {
    std::size_t first = 0; // hunk
    std::size_t parts = 1;
    std::array<std::string, 3> texts;

    Whole(std::span<const Segment> segments, std::size_t hunk)
        : first(firstPart(segments, hunk)), parts(std::size_t(segments[2 * first + 1].parts))
    {
        for (std::size_t i = first; i < first + parts; ++i) {
            const Segment& part = segments[2 * i + 1];
            texts[0] += part.ancestor;
            texts[1] += part.newBase;
            texts[2] += part.commit;
        }
    }
    Oid name() const { return textsOfHunk(texts[0], texts[1], texts[2]); }
    // How many hunks with the same texts stand before it.
    int which(std::span<const Segment> segments) const
    {
        int same = 0;
        for (std::size_t at = 0; at < first;) {
            const Whole earlier(segments, at);
            same += int(earlier.texts == texts);
            at += earlier.parts;
        }
        return same;
    }
};

SettledHunk partOf(const std::array<std::string_view, 3>& texts, const HunkDecision& of)
{
    const bool side = of.choice == Choice::NewBase || of.choice == Choice::YourCommit;
    return {textsOfHunk(texts[0], texts[1], texts[2]), side ? of : HunkDecision{}};
}

} // namespace

TextMerge cutMerge(const TextMerge& merge, std::string_view ancestor, std::string_view newBase, std::string_view commit,
                   std::span<const HunkCut> cuts)
{
    return cuts.empty() || merge.hunks.empty() ? merge : Cutter(merge, cuts).run(ancestor, newBase, commit);
}

ConflictTexts cutTexts(const ConflictTexts& texts, std::span<const HunkCut> cuts)
{
    if (cuts.empty())
        return texts;
    ConflictTexts cut = texts;
    cut.merge =
        std::make_shared<const TextMerge>(cutMerge(*texts.merge, *texts.ancestor, *texts.newBase, *texts.commit, cuts));
    return cut;
}

HunkLines linesAt(const Segment& hunk, Side side, int line)
{
    if (side == Side::Ancestor)
        return {line, beside(hunk.ancestor, hunk.newBase, line).line, beside(hunk.ancestor, hunk.commit, line).line};
    const bool left = side == Side::NewBase;
    const std::string_view own = left ? hunk.newBase : hunk.commit, other = left ? hunk.commit : hunk.newBase;
    const Beside ancestor = beside(own, hunk.ancestor, line);
    Beside across = beside(own, other, line);
    // What both sides have of the ancestor says more than a guess.
    if (const Beside through = beside(hunk.ancestor, other, ancestor.line);
        !across.sure && ancestor.sure && through.sure)
        across = through;
    return left ? HunkLines{ancestor.line, line, across.line} : HunkLines{ancestor.line, across.line, line};
}

HunkLines linesAt(const Segment& hunk, std::string_view text, int line)
{
    const Beside newBase = beside(text, hunk.newBase, line), commit = beside(text, hunk.commit, line);
    if (newBase.sure || !commit.sure) {
        HunkLines lines = linesAt(hunk, Side::NewBase, newBase.line);
        if (commit.sure)
            lines.commit = commit.line;
        return lines;
    }
    return linesAt(hunk, Side::Commit, commit.line);
}

std::optional<FileSettlement> withSplit(FileSettlement settlement, std::span<const Segment> segments, std::size_t hunk,
                                        const HunkLines& lines)
{
    if (2 * hunk + 1 >= segments.size() || settlement.pieces.size() != segments.size())
        return std::nullopt;
    const Segment& cut = segments[2 * hunk + 1];
    if (!within(lines, {}, {countLines(cut.ancestor), countLines(cut.newBase), countLines(cut.commit)}))
        return std::nullopt;
    const Whole whole(segments, hunk);
    HunkLines before = lines; // of the whole hunk
    for (std::size_t i = whole.first; i < hunk; ++i) {
        before.ancestor += countLines(segments[2 * i + 1].ancestor);
        before.newBase += countLines(segments[2 * i + 1].newBase);
        before.commit += countLines(segments[2 * i + 1].commit);
    }
    settlement.cuts.push_back({whole.name(), whole.which(segments), before});
    std::ranges::sort(settlement.cuts);
    const HunkDecision made = settlement.decision(hunk);
    const std::array<LineRange, 3> upper{LineRange{0, lines.ancestor}, {0, lines.newBase}, {0, lines.commit}};
    std::array<std::string_view, 3> first, second;
    const std::array<std::string_view, 3> all{cut.ancestor, cut.newBase, cut.commit};
    for (std::size_t i = 0; i < all.size(); ++i) {
        first[i] = linesOf(all[i], upper[i]);
        second[i] = all[i].substr(first[i].size());
    }
    const auto at = settlement.pieces.begin() + std::ptrdiff_t(2 * hunk + 1);
    *at = partOf(first, made);
    settlement.pieces.insert(at + 1, {SettledPiece(SettledStretch{}), SettledPiece(partOf(second, made))});
    return settlement;
}

HunkDecision wholeDecision(const FileSettlement& settlement, std::span<const Segment> segments, std::size_t hunk)
{
    if (segments[2 * hunk + 1].parts == 1)
        return settlement.decision(hunk);
    const Whole whole(segments, hunk);
    const std::string_view lineEnd = lineEndOf(segments);
    std::string text;
    for (std::size_t i = whole.first; i < whole.first + whole.parts; ++i) {
        if (settlement.decision(i).choice == Choice::Undecided)
            return {};
        const Segment& part = segments[2 * i + 1];
        appendLines(text, hunkBytes(part.newBase, part.commit, settlement.decision(i), lineEnd));
        if (const auto* stretch = std::get_if<SettledStretch>(&settlement.pieces[2 * i + 2]);
            stretch && stretch->edit && i + 1 < whole.first + whole.parts)
            appendLines(text, stretch->edit->text);
    }
    return decisionGiving(whole.texts[1], whole.texts[2], std::move(text), lineEnd);
}

std::optional<FileSettlement> withJoined(FileSettlement settlement, std::span<const Segment> segments, std::size_t hunk)
{
    if (2 * hunk + 1 >= segments.size() || settlement.pieces.size() != segments.size() ||
        segments[2 * hunk + 1].parts == 1)
        return std::nullopt;
    const Whole whole(segments, hunk);
    for (std::size_t i = whole.first; i + 1 < whole.first + whole.parts; ++i)
        if (std::get<SettledStretch>(settlement.pieces[2 * i + 2]) != SettledStretch{})
            return std::nullopt;
    HunkDecision made = wholeDecision(settlement, segments, hunk);
    const Oid name = whole.name();
    const int which = whole.which(segments);
    std::erase_if(settlement.cuts, [&](const HunkCut& cut) { return cut.hunk == name && cut.which == which; });
    const auto at = settlement.pieces.begin() + std::ptrdiff_t(2 * whole.first + 1);
    *at = SettledHunk{name, std::move(made)};
    settlement.pieces.erase(at + 1, at + 1 + std::ptrdiff_t(2 * (whole.parts - 1)));
    return settlement;
}

Segment wholeHunk(std::span<const Segment> segments, std::size_t hunk, std::array<std::string, 3>& texts)
{
    Whole whole(segments, hunk);
    texts = std::move(whole.texts);
    Segment all = segments[2 * whole.first + 1];
    all.ancestor = texts[0];
    all.newBase = texts[1];
    all.commit = texts[2];
    all.part = 0;
    all.parts = 1;
    return all;
}

} // namespace espalier

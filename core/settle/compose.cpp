// SPDX-License-Identifier: MIT
#include "core/settle/compose.h"

#include <algorithm>
#include <memory>

namespace espalier {

namespace {

std::string joined(std::string_view first, std::string_view second, std::string_view lineEnd)
{
    std::string text(first);
    if (!first.empty() && !second.empty() && first.back() != '\n')
        text += first.contains('\n') || second.contains('\n') ? lineEndOf({first, second}) : lineEnd;
    text += second;
    return text;
}

// Where the lines of one piece of the merge stand in the composed text.
struct Placed {
    const TextPiece* piece;
    int first;
    int count;
    // In a stretch that was edited: `first` counts from the stretch's merged text, which stands, edited, at `base`.
    const TextMerge* edit = nullptr;
    int base = 0;
};

// Line for line where the piece is the new base's own text, else the whole of the piece.
int placeOf(const Placed& placed, int newBaseLine, bool end)
{
    const PieceOrigin origin = placed.piece->origin;
    if (origin == PieceOrigin::Unchanged || origin == PieceOrigin::NewBase || origin == PieceOrigin::Both)
        return placed.first + std::min(newBaseLine - placed.piece->newBase.first, placed.count);
    return end ? placed.first + placed.count : placed.first;
}

LineRange follow(const std::vector<Placed>& placed, const LineRange& range)
{
    int first = -1, end = -1;
    for (const Placed& at : placed) {
        if (!rangesMeet(at.piece->newBase, range) ||
            (range.count > 0 && at.piece->newBase.count > 0 &&
             (at.piece->newBase.end() <= range.first || range.end() <= at.piece->newBase.first)))
            continue;
        LineRange lines;
        lines.first = placeOf(at, std::max(range.first, at.piece->newBase.first), false);
        lines.count = std::max(0, placeOf(at, std::min(range.end(), at.piece->newBase.end()), true) - lines.first);
        if (at.edit) {
            lines = rangeInResult(*at.edit, lines);
            lines.first += at.base;
        }
        first = first < 0 ? lines.first : std::min(first, lines.first);
        end = std::max(end, lines.end());
    }
    return first < 0 ? LineRange{} : LineRange{first, std::max(0, end - first)};
}

// One segment after the other, and where each one's lines went.
struct Writer {
    std::string bytes;
    std::vector<LineRange> lines;
    std::string_view lineEnd;

    void add(const Segment& segment, const SettledPiece* piece, Choice undecidedAs)
    {
        static const SettledPiece noEdit = SettledStretch{}, noDecision = SettledHunk{};
        if (!piece)
            piece = segment.conflict ? &noDecision : &noEdit;
        const std::string text = pieceBytes(segment, *piece, undecidedAs, lineEnd);
        appendLines(bytes, text);
        lines.push_back({lines.empty() ? 0 : lines.back().end(), countLines(text)});
    }
};

// The edit that stands for a segment; null when there is none.
const StretchEdit* editOf(const SettledPiece* piece)
{
    const auto* stretch = piece ? std::get_if<SettledStretch>(piece) : nullptr;
    return stretch && stretch->edit ? &*stretch->edit : nullptr;
}

} // namespace

void appendLines(std::string& bytes, std::string_view text)
{
    if (!text.empty() && !bytes.empty() && bytes.back() != '\n')
        bytes += lineEndOf({bytes, text});
    bytes += text;
}

std::string_view lineEndOf(std::initializer_list<std::string_view> texts)
{
    for (const std::string_view text : texts)
        if (const std::size_t end = text.find('\n'); end != std::string_view::npos)
            return end > 0 && text[end - 1] == '\r' ? "\r\n" : "\n";
    return "\n";
}

std::string hunkBytes(std::string_view newBase, std::string_view commit, const HunkDecision& decision,
                      std::string_view lineEnd)
{
    switch (decision.choice) {
    case Choice::Undecided:
        return {};
    case Choice::NewBase:
        return std::string(newBase);
    case Choice::YourCommit:
        return std::string(commit);
    case Choice::NewBaseFirst:
        return joined(newBase, commit, lineEnd);
    case Choice::YourCommitFirst:
        return joined(commit, newBase, lineEnd);
    case Choice::Typed:
        return decision.text;
    }
    return {};
}

HunkDecision decisionGiving(std::string_view newBase, std::string_view commit, std::string text,
                            std::string_view lineEnd)
{
    for (const Choice choice : {Choice::NewBase, Choice::YourCommit, Choice::NewBaseFirst, Choice::YourCommitFirst})
        if (hunkBytes(newBase, commit, {choice, {}}, lineEnd) == text)
            return {choice, {}};
    return {Choice::Typed, std::move(text)};
}

std::string_view lineEndOf(std::span<const Segment> segments)
{
    for (const Segment& segment : segments)
        for (const std::string_view text : {segment.text, segment.newBase, segment.commit})
            if (text.contains('\n'))
                return lineEndOf({text});
    return "\n";
}

std::string pieceBytes(const Segment& segment, const SettledPiece& piece, Choice undecidedAs, std::string_view lineEnd)
{
    if (const auto* hunk = std::get_if<SettledHunk>(&piece)) {
        if (!isOpen(piece))
            return hunkBytes(segment.newBase, segment.commit, hunk->decision, lineEnd);
        return hunkBytes(segment.newBase, segment.commit, {undecidedAs, {}}, lineEnd);
    }
    const StretchEdit* edit = editOf(&piece);
    return edit ? edit->text : std::string(segment.text);
}

std::string settledBytes(std::span<const Segment> segments, std::span<const SettledPiece> pieces, Choice undecidedAs)
{
    Writer writer{{}, {}, lineEndOf(segments)};
    for (std::size_t i = 0; i < segments.size(); ++i)
        writer.add(segments[i], i < pieces.size() ? &pieces[i] : nullptr, undecidedAs);
    return std::move(writer.bytes);
}

Composed compose(const TextMerge& merge, std::string_view newBase, std::string_view commit,
                 std::span<const SettledPiece> pieces, Choice undecidedAs, std::span<const LineRange> heldInNewBase)
{
    Composed file;
    const std::vector<Segment> segments = segmentsOf(merge, {}, newBase, commit);
    Writer writer{{}, {}, lineEndOf(segments)};
    writer.bytes.reserve(merge.bytes.size());
    std::vector<Placed> placed;
    std::vector<std::unique_ptr<TextMerge>> edits;
    auto piece = merge.pieces.begin();
    int stretchFirst = 0; // in the merge's bytes
    for (std::size_t i = 0; i < segments.size(); ++i) {
        const SettledPiece* settled = i < pieces.size() ? &pieces[i] : nullptr;
        writer.add(segments[i], settled, undecidedAs);
        const LineRange at = writer.lines.back();
        if (settled ? isOpen(*settled) : segments[i].conflict)
            file.open.push_back(at);
        if (heldInNewBase.empty())
            continue;
        if (segments[i].conflict) {
            placed.push_back({&*piece, at.first, at.count});
            stretchFirst = piece->result.end();
            ++piece;
            continue;
        }
        const StretchEdit* edit = editOf(settled);
        if (edit)
            edits.push_back(std::make_unique<TextMerge>(mergeTexts(segments[i].text, segments[i].text, edit->text)));
        for (; piece != merge.pieces.end() && piece->origin != PieceOrigin::Conflict; ++piece) {
            const int offset = piece->result.first - stretchFirst;
            if (edit)
                placed.push_back({&*piece, offset, piece->result.count, edits.back().get(), at.first});
            else
                placed.push_back({&*piece, at.first + offset, piece->result.count});
        }
    }
    file.bytes = std::move(writer.bytes);
    for (const LineRange& range : heldInNewBase)
        file.held.push_back(follow(placed, range));
    return file;
}

} // namespace espalier

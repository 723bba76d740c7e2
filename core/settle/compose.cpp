// SPDX-License-Identifier: MIT
#include "core/settle/compose.h"

#include <algorithm>

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

void appendLines(std::string& bytes, std::string_view text)
{
    if (!text.empty() && !bytes.empty() && bytes.back() != '\n')
        bytes += lineEndOf({bytes, text});
    bytes += text;
}

// Where the lines of one piece of the merge stand in the composed text.
struct Placed {
    const TextPiece* piece;
    int first;
    int count;
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
        const int from = placeOf(at, std::max(range.first, at.piece->newBase.first), false);
        const int to = placeOf(at, std::min(range.end(), at.piece->newBase.end()), true);
        first = first < 0 ? from : std::min(first, from);
        end = std::max(end, to);
    }
    return first < 0 ? LineRange{} : LineRange{first, std::max(0, end - first)};
}

} // namespace

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

std::string joinSettled(std::span<const std::string_view> between, std::span<const std::string> hunks)
{
    std::string bytes;
    for (std::size_t i = 0; i < between.size(); ++i) {
        appendLines(bytes, between[i]);
        if (i < hunks.size())
            appendLines(bytes, hunks[i]);
    }
    return bytes;
}

Composed compose(const TextMerge& merge, std::string_view newBase, std::string_view commit,
                 std::span<const HunkDecision> decisions, Choice undecidedAs, std::span<const LineRange> heldInNewBase)
{
    Composed file;
    std::vector<Placed> placed;
    int line = 0;
    std::size_t hunk = 0;
    const std::string_view lineEnd = lineEndOf({newBase, commit});
    LineReader ofNewBase(newBase), ofCommit(commit), ofResult(merge.bytes);
    for (const TextPiece& piece : merge.pieces) {
        const int before = line;
        if (piece.origin == PieceOrigin::Conflict) {
            HunkDecision decision = hunk < decisions.size() ? decisions[hunk] : HunkDecision{};
            ++hunk;
            const bool open = decision.choice == Choice::Undecided;
            if (open)
                decision.choice = undecidedAs;
            const std::string text =
                hunkBytes(ofNewBase.read(piece.newBase), ofCommit.read(piece.commit), decision, lineEnd);
            appendLines(file.bytes, text);
            line += countLines(text);
            if (open)
                file.open.push_back({before, line - before});
        } else {
            appendLines(file.bytes, ofResult.read(piece.result));
            line += piece.result.count;
        }
        placed.push_back({&piece, before, line - before});
    }
    for (const LineRange& range : heldInNewBase)
        file.held.push_back(follow(placed, range));
    return file;
}

} // namespace espalier

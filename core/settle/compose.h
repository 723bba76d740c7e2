// SPDX-License-Identifier: MIT
//
// Puts a file together from a merge's pieces and the user's decisions. The dry run, the settle page and apply all get
// their bytes here, so they cannot differ.
//
//     Composed file = compose(merge, newBase, commit, settlement.pieces, Choice::YourCommit);
//     file.bytes; file.open;      // where what is undecided stands in it
#pragma once

#include "core/merge/text_merge.h"
#include "core/settle/settlements.h"

#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// The text a decision puts in a hunk's place; Undecided gives nothing. A side that lacks its last line end gets one
// where the other side follows: of the kind used in the hunk, else `lineEnd`.
std::string hunkBytes(std::string_view newBase, std::string_view commit, const HunkDecision& decision,
                      std::string_view lineEnd = "\n");
// The decision that puts this text in a hunk's place: a choice where one of them gives it, else the text as typed.
HunkDecision decisionGiving(std::string_view newBase, std::string_view commit, std::string text,
                            std::string_view lineEnd = "\n");
// The first line end of these texts, "\n" or "\r\n"; "\n" when there is none.
std::string_view lineEndOf(std::initializer_list<std::string_view> texts);
// The file's: the first one in it.
std::string_view lineEndOf(std::span<const Segment> segments);

// Appends text to a file. Where what is there lacks its last line end, it gets one: two lines never become one.
void appendLines(std::string& bytes, std::string_view text);

// What a piece puts into the file. An undecided hunk gets the text that `undecidedAs` would give it; an edit that waits
// gives nothing.
std::string pieceBytes(const Segment& segment, const SettledPiece& piece, Choice undecidedAs, std::string_view lineEnd);
// The whole file. `pieces` stand for the segments one for one; where there are none (or too few) nothing is decided.
std::string settledBytes(std::span<const Segment> segments, std::span<const SettledPiece> pieces, Choice undecidedAs);

struct Composed {
    std::string bytes;
    // Lines of `bytes` that undecided hunks take, and stretches with an edit that waits, in order.
    std::vector<LineRange> open;
    std::vector<LineRange> held; // lines of `bytes` where the held ranges of the new base went, one for one
};

// The same out of a merge, which must have been made of these texts. `heldInNewBase` are ranges of the new base's lines
// to be followed into the result.
Composed compose(const TextMerge& merge, std::string_view newBase, std::string_view commit,
                 std::span<const SettledPiece> pieces, Choice undecidedAs,
                 std::span<const LineRange> heldInNewBase = {});

} // namespace espalier

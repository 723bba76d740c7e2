// SPDX-License-Identifier: MIT
//
// Puts a file together from a merge's pieces and the user's decisions. The dry run, the settle page and apply all get
// their bytes here, so they cannot differ.
//
//     Composed file = compose(merge, newBase, commit, decisions, Choice::YourCommit);
//     file.bytes; file.open;      // where undecided hunks stand in it
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
// The first line end of these texts, "\n" or "\r\n"; "\n" when there is none.
std::string_view lineEndOf(std::initializer_list<std::string_view> texts);

// Settled text and hunks in turn, beginning and ending with settled text; `between` has one more. Where a piece lacks
// its last line end and more follows, it gets one: two lines never become one.
std::string joinSettled(std::span<const std::string_view> between, std::span<const std::string> hunks);

struct Composed {
    std::string bytes;
    std::vector<LineRange> open; // lines of `bytes` that undecided hunks take, in order
    std::vector<LineRange> held; // lines of `bytes` where the held ranges of the new base went, one for one
};

// `merge` must have been made of these texts. A hunk without a decision (or beyond the list) is undecided and gets the
// text that `undecidedAs` would give it. `heldInNewBase` are ranges of the new base's lines to be followed into the
// result.
Composed compose(const TextMerge& merge, std::string_view newBase, std::string_view commit,
                 std::span<const HunkDecision> decisions, Choice undecidedAs,
                 std::span<const LineRange> heldInNewBase = {});

} // namespace espalier

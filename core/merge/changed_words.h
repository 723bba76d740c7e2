// SPDX-License-Identifier: MIT
//
// Which words a side of a hunk changed: within lines that it has in another form, the words that are new in them.
//
//     ChangedWords words = changedWords("the tide is low\n", "the tide is high\n");
//     words.after[0];               // line 0, bytes 12 to 16: "high"
#pragma once

#include <string_view>
#include <vector>

namespace espalier {

// Bytes [from, to) of a line, the line counted from 0 in its text.
struct WordSpan {
    int line = 0, from = 0, to = 0;
    friend bool operator==(const WordSpan&, const WordSpan&) = default;
};
struct ChangedWords {
    std::vector<WordSpan> before, after; // in order; neighbours are one span
};

// A line that is new as a whole is one span; where nothing was before, nothing is marked, and where a stretch of lines has little in
// common with what it took the place of neither. White space counts only within lines; line ends never. A word is a run of letters,
// digits, underscores and of bytes beyond ASCII, so that no span ends within a character.
ChangedWords changedWords(std::string_view before, std::string_view after);

} // namespace espalier

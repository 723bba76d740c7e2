// SPDX-License-Identifier: MIT
//
// A hunk that the user has split at a line: its parts are hunks of their own from there on, to be decided each by itself. The cuts
// belong to the settlement; the merge is cut by them, so that whoever takes hunks from it (dry run, page, apply) meets the parts.
//
//     HunkLines at = linesAt(segment, Side::NewBase, 3);                    // the same place in all three texts
//     std::optional<FileSettlement> split = withSplit(settlement, segments, 0, at);
//     ConflictTexts parts = cutTexts(texts, split->cuts);
#pragma once

#include "core/settle/settlements.h"

#include <array>
#include <optional>
#include <span>

namespace espalier {

enum class Side : std::uint8_t { Ancestor, NewBase, Commit };

// The texts' merge with each hunk that a cut names in its parts, each with markers of its own. Cuts of hunks that are not there, or
// behind all of a hunk's lines, mean nothing.
TextMerge cutMerge(const TextMerge& merge, std::string_view ancestor, std::string_view newBase, std::string_view commit,
                   std::span<const HunkCut> cuts);
ConflictTexts cutTexts(const ConflictTexts& texts, std::span<const HunkCut> cuts);

// Where a cut before line `line` (from 0) of one side's text of a hunk goes in the others: between the lines that stand beside it
// there, in proportion where none does. Source of what stands beside what: matchLines().
HunkLines linesAt(const Segment& hunk, Side side, int line);
// The same for a line of any text that came from the two sides.
HunkLines linesAt(const Segment& hunk, std::string_view text, int line);

// The settlement with a hunk (or a part of one) in two, cut before these lines of it. Each part is decided as the hunk was where a
// side was kept, else undecided. `segments` are those of the settlement, as it is. Nothing where a part would be empty.
std::optional<FileSettlement> withSplit(FileSettlement settlement, std::span<const Segment> segments, std::size_t hunk,
                                        const HunkLines& lines);
// With all parts of that hunk in one again: what they were decided as, or undecided where one of them is. Nothing where it is no part,
// and where an edit came to stand between two of them.
std::optional<FileSettlement> withJoined(FileSettlement settlement, std::span<const Segment> segments,
                                         std::size_t hunk);

// The hunk that a part is of; itself where it is none. Its texts are in `texts`, which the answer points into.
Segment wholeHunk(std::span<const Segment> segments, std::size_t hunk, std::array<std::string, 3>& texts);
// What its parts are decided as, taken together.
HunkDecision wholeDecision(const FileSettlement& settlement, std::span<const Segment> segments, std::size_t hunk);

} // namespace espalier

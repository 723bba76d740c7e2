// SPDX-License-Identifier: MIT
//
// Which lines of two texts are the same: for panes side by side, and for what moves along when a text changes.
//
//     std::vector<int> at = matchLines("x\ny\n", "y\n");   // {-1, 0}
#pragma once

#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

namespace espalier {

// at[i]: the line of `b` that line i of `a` is, or -1. As many entries as `a` has lines; those that are not -1 rise
// strictly. Line ends are part of the lines. Source: Myers (1986), as core/merge/line_diff.h has it.
std::vector<int> matchLines(std::string_view a, std::string_view b);
// The same for anything that has been numbered, densely from 0: equal numbers are equal things.
std::vector<int> matchNumbers(std::span<const std::uint32_t> a, std::span<const std::uint32_t> b);

// The lines of `b` as a change of `a`: removed lines stand before the added ones that take their place.
struct ChangedLine {
    enum Kind : unsigned char { Same, Added, Removed } kind = Same;
    int line = 0; // in b for Same and Added, in a for Removed
};
std::vector<ChangedLine> changeOf(std::string_view a, std::string_view b);

} // namespace espalier

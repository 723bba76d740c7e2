// SPDX-License-Identifier: MIT
//
// Which lines of two texts are the same ones: unique common lines first (patience sorting of their positions), then the
// longest common subsequence of what small stretches remain. Bounded in time: large stretches without a common unique
// line stay unmatched.
//
//     std::vector<int> at = matchLines(a, b);   // at[i]: the line of b that line i of a is, or -1
#pragma once

#include <QString>

#include <span>
#include <vector>

namespace espalier {

// As many entries as `a` has lines; the numbers that are not -1 rise strictly.
std::vector<int> matchLines(std::span<const QString> a, std::span<const QString> b);

// The lines of `b` as a change of `a`: removed lines stand before the added ones that take their place.
struct ChangedLine {
    enum Kind : unsigned char { Same, Added, Removed } kind = Same;
    int line = 0; // in b for Same and Added, in a for Removed
};
std::vector<ChangedLine> changeOf(std::span<const QString> a, std::span<const QString> b);

} // namespace espalier

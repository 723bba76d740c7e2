// SPDX-License-Identifier: MIT
//
// By how much a change moves the sum of its file's lines, each taken as a hash without its white space: of two equal changes
// (see equivalence.h) the same number, since what they leave alone cancels out. Two changes whose numbers differ need not be
// compared line by line. Private to core/history.
//
//     if (lineShift(oldA, newA) != lineShift(oldB, newB)) … // not the same change
//
// A patch id leaves line ends out as well, so that a line added as `a+b` and two added as `a` and `b` have one; here they
// differ, as they should.
#pragma once

#include <cstdint>
#include <string_view>

namespace espalier {

// Modulo 2^64. Equal numbers say nothing: contents may be made to have them.
std::uint64_t lineShift(std::string_view before, std::string_view after);

} // namespace espalier

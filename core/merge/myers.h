// SPDX-License-Identifier: MIT
//
// The classic line diff: Myers, "An O(ND) Difference Algorithm and Its Variations" (1986), the linear-space variation,
// with the shortcuts that git's xdiff takes (lines without a partner are set aside first; costly searches are cut).
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace espalier {

using ChangedLines = std::vector<char>; // 1: the line has no partner

// Sets the flags of changed lines; they must be 0 before. `changedA` and `changedB` have a flag a line.
void classicDiff(std::span<const std::uint32_t> a, std::span<const std::uint32_t> b, std::uint32_t classCount,
                 char* changedA, char* changedB);

} // namespace espalier

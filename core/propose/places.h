// SPDX-License-Identifier: MIT
//
// What a settled file has in the place of each hunk, found by the merged text around the hunks.
//
//     auto places = settledPlaces({"a\n", "c\n"}, "a\nB\nc\n");     // {{1, 1}}: line 1, one line
#pragma once

#include "core/merge/text_merge.h"

#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace espalier {

// `between` is the merged text before, between and after the hunks, one more than there are hunks. An answer a hunk: lines of
// `settled`; nothing where the surroundings cannot be found again, or not without doubt: three to eight lines must stand there
// once, between the last hunk's place and the end.
std::vector<std::optional<LineRange>> settledPlaces(std::span<const std::string_view> between,
                                                    std::string_view settled);

} // namespace espalier

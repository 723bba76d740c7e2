// SPDX-License-Identifier: MIT
//
// How a text that settled one hunk is made to fit another that is like it. Private to core/settle.
//
//     auto text = inOtherSpaces(was, "\tx = 2;\n", now);            // what was typed, indented as the lines are now
//     auto text = withOtherSurroundings(was, "x = 2;\n", now);      // more or fewer lines around it
#pragma once

#include "core/settle/memory.h"

#include <optional>
#include <string>
#include <string_view>

namespace espalier {

// With white space at the ends of lines and blank lines left out, and one blank for each other run of it.
std::string withoutSpaces(std::string_view text);

// `text` settled a hunk with the sides `was`; `now` has the same sides but for white space. Nothing where a line could
// stand in more than one way.
std::optional<std::string> inOtherSpaces(const HunkSides& was, std::string_view text, const HunkSides& now);

// `now` has the sides of `was` within it, or the other way round, and what is around them only one side changed. Nothing
// where that is not so, or not in one way only.
std::optional<std::string> withOtherSurroundings(const HunkSides& was, std::string_view text, const HunkSides& now);

} // namespace espalier

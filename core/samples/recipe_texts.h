// SPDX-License-Identifier: MIT
//
// The recipes of sample-repos/, compiled into the program by the build (see core/CMakeLists.txt).
#pragma once

#include <span>
#include <string_view>

namespace espalier {

struct RecipeText {
    std::string_view name; // the file's name without its ending
    std::string_view text;
};

std::span<const RecipeText> recipeTexts();

} // namespace espalier

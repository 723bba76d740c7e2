# SPDX-License-Identifier: MIT
# Writes OUTPUT, a C++ file with the text of every recipe in FOLDER.
file(GLOB recipes ${FOLDER}/*.recipe)
list(SORT recipes)
set(rows "")
foreach(recipe IN LISTS recipes)
  get_filename_component(name ${recipe} NAME_WE)
  file(READ ${recipe} text)
  string(APPEND rows "    {\"${name}\", R\"recipe(${text})recipe\"},\n")
endforeach()
file(WRITE ${OUTPUT} "// Made from sample-repos/ by the build.
#include \"core/samples/recipe_texts.h\"

#include <array>

namespace espalier {

namespace {
constexpr RecipeText texts[] = {
${rows}};
} // namespace

std::span<const RecipeText> recipeTexts() { return texts; }

} // namespace espalier
")

// SPDX-License-Identifier: MIT
//
// What a side did besides a hunk that explains why its lines clash: it moved them, only indented them anew, gives something another
// name throughout, deleted them, or changes the function's name in other files. In sentences; where nothing explains it there are
// none.
//
//     Result<std::vector<std::vector<std::string>>> notes = elsewhere(repository, *run, commit, text);
//     notes->at(0);      // {"The new base moved these lines to src/level.cpp, line 40"}
#pragma once

#include "core/conflicts/conflict_text.h"

#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// One list for each hunk; none for a whole path. Paths and names in them are safe to show. Of other files those are looked at that
// the side changed, a bounded number. Errors: Broken (a missing or damaged object), Cancelled.
Result<std::vector<std::vector<std::string>>> elsewhere(const Repository& repository, const DryRun& run,
                                                        std::size_t commit, const ConflictText& text,
                                                        const Progress& progress = {});

// The name of the function, class or the like that a line (from 0) of a text stands in: of the nearest line above, or itself, that looks
// like the beginning of one. Empty when there is none. Source of what looks so: the default of git's hunk heads, lines
// that begin with a letter, and the words with which languages begin one (common practice).
std::string_view functionAround(std::string_view text, int line);

// The name that `after` has wherever `before` has another, whatever else differs: {"level", "depth"}; else empty. Of several the one
// that takes the other's place most often. One word in one place may be anything: a name is what changed elsewhere too.
struct Renaming {
    std::string from, to;
};
Renaming renamingBetween(std::string_view before, std::string_view after);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Which directories a side renamed, told from the files that it renamed out of them. Private to core/merge.
#pragma once

#include <map>
#include <set>
#include <string>
#include <string_view>

namespace espalier {

// The directory part of a path, without its last '/'; empty at the root.
std::string_view folderOf(std::string_view path);

struct DirectoryMoves {
    std::map<std::string, std::string> to; // old directory, new directory (empty: the root)
    bool unclear = false;                  // one of them went to several places, none of which got the most files
};

// `renames` are the side's, old path to new path; `asked` the directories that are gone on that side and into which the
// other side put something. Majority rules, as in git's merge-ort: a renamed file counts for its own directory, and for
// the directories above as far as old and new names end alike.
DirectoryMoves directoryMoves(const std::map<std::string, std::string>& renames, const std::set<std::string>& asked);

// Where a path goes when the nearest moved directory above it takes it along; empty when none does.
std::string movedPath(const std::string& path, const std::map<std::string, std::string>& moves);

} // namespace espalier

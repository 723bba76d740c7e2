// SPDX-License-Identifier: MIT
//
// Which directories a side renamed, told from the files that it renamed out of them, and what the other side put into them.
// Private to core/merge.
#pragma once

#include "core/merge/renames.h"

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// The directory part of a path, without its last '/'; empty at the root.
std::string_view folderOf(std::string_view path);

struct DirectoryMoves {
    std::map<std::string, std::string> to; // old directory, new directory (empty: the root)
    std::vector<std::string> unclear;      // went to several places, none of which got the most files
};

// By majority of the files, as git's get_provisional_directory_renames.
DirectoryMoves directoryMoves(const std::map<std::string, FolderTargets>& folders);

// A directory that both sides renamed is left to the renames of its files.
void dropTwiceMoved(DirectoryMoves& first, DirectoryMoves& second);

// Where a path goes when the nearest moved directory above it takes it along.
struct TakenAlong {
    std::string path, folder; // the directory's new name
};
std::optional<TakenAlong> takenAlong(const std::string& path, const std::map<std::string, std::string>& moves);

// New paths of what one side added, and what is added for each of them.
using Arrivals = std::map<std::string, std::vector<std::string>>;
Arrivals arrivals(const std::vector<std::string>& added, const std::map<std::string, std::string>& moves);

} // namespace espalier

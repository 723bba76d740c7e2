// SPDX-License-Identifier: MIT
#include "core/merge/directory_renames.h"

#include <algorithm>

namespace espalier {

std::string_view folderOf(std::string_view path)
{
    const std::size_t slash = path.rfind('/');
    return slash == std::string_view::npos ? std::string_view() : path.substr(0, slash);
}

DirectoryMoves directoryMoves(const std::map<std::string, FolderTargets>& folders)
{
    DirectoryMoves moves;
    for (const auto& [from, targets] : folders) {
        const auto best = std::ranges::max_element(targets.all(), {}, &FolderTargets::Target::count);
        if (std::ranges::count(targets.all(), best->count, &FolderTargets::Target::count) > 1)
            moves.unclear.push_back(from);
        else
            moves.to.emplace(from, best->folder);
    }
    return moves;
}

void dropTwiceMoved(DirectoryMoves& first, DirectoryMoves& second)
{
    for (auto at = first.to.begin(); at != first.to.end();)
        at = second.to.erase(at->first) ? first.to.erase(at) : std::next(at);
}

std::optional<TakenAlong> takenAlong(const std::string& path, const std::map<std::string, std::string>& moves)
{
    if (moves.empty())
        return std::nullopt;
    for (std::string_view folder = folderOf(path); !folder.empty(); folder = folderOf(folder))
        if (const auto at = moves.find(std::string(folder)); at != moves.end()) {
            const std::string rest = path.substr(folder.size() + 1);
            return TakenAlong{at->second.empty() ? rest : at->second + "/" + rest, at->second};
        }
    return std::nullopt;
}

Arrivals arrivals(const std::vector<std::string>& added, const std::map<std::string, std::string>& moves)
{
    Arrivals all;
    for (const std::string& path : added)
        if (const auto taken = takenAlong(path, moves))
            all[taken->path].push_back(path);
    return all;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/merge/directory_renames.h"

namespace espalier {

std::string_view folderOf(std::string_view path)
{
    const std::size_t slash = path.rfind('/');
    return slash == std::string_view::npos ? std::string_view() : path.substr(0, slash);
}

DirectoryMoves directoryMoves(const std::map<std::string, std::string>& renames, const std::set<std::string>& asked)
{
    std::map<std::string, std::map<std::string, int>> counts;
    for (const auto& [from, to] : renames) {
        std::string_view oldFolder = folderOf(from), newFolder = folderOf(to);
        while (!oldFolder.empty()) {
            if (asked.contains(std::string(oldFolder)))
                ++counts[std::string(oldFolder)][std::string(newFolder)];
            const auto last = [](std::string_view folder) { return folder.substr(folder.rfind('/') + 1); };
            if (newFolder.empty() || last(oldFolder) != last(newFolder))
                break;
            oldFolder = folderOf(oldFolder);
            newFolder = folderOf(newFolder);
        }
    }
    DirectoryMoves moves;
    for (const auto& [from, targets] : counts) {
        const std::string* best = nullptr;
        int most = 0;
        bool tie = false;
        for (const auto& [to, count] : targets) {
            tie = count == most || (tie && count < most);
            if (count > most) {
                most = count;
                best = &to;
                tie = false;
            }
        }
        if (tie)
            moves.unclear = true;
        else if (*best != from)
            moves.to.emplace(from, *best);
    }
    return moves;
}

std::string movedPath(const std::string& path, const std::map<std::string, std::string>& moves)
{
    for (std::string_view folder = folderOf(path); !folder.empty(); folder = folderOf(folder))
        if (const auto at = moves.find(std::string(folder)); at != moves.end()) {
            const std::string rest = path.substr(folder.size() + 1);
            return at->second.empty() ? rest : at->second + "/" + rest;
        }
    return {};
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/process_marks.h"

#include "core/git/files.h"
#include "core/git/running.h"
#include "core/git/spawn.h"

#include <algorithm>
#include <filesystem>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::string_view markName = "ESPALIER_PUSHES_FROM";

// Nothing when it is another user's or has ended meanwhile.
std::string environmentOf(const fs::path& process)
{
    const Fd file(::open((process / "environ").c_str(), O_RDONLY | O_CLOEXEC));
    std::string all;
    char part[1 << 14];
    constexpr std::size_t most = std::size_t(4) << 20;
    for (ssize_t got = 0; file.isOpen() && all.size() < most && (got = ::read(file.get(), part, sizeof part)) > 0;)
        all.append(part, std::size_t(got));
    return all;
}

bool isInside(const fs::path& folder, const fs::path& within)
{
    const auto [end, at] = std::ranges::mismatch(within, folder);
    return end == within.end() && !within.empty();
}

fs::path withoutSlash(const fs::path& folder) { return folder.has_filename() ? folder : folder.parent_path(); }

} // namespace

std::pair<std::string, std::string> pushMark(const Repository& repository)
{
    std::error_code error;
    const fs::path place = fs::canonical(repository.commonDir(), error);
    return {std::string(markName), error ? repository.commonDir().string() : place.string()};
}

std::optional<bool> isPushAtWork(const Repository& repository)
{
    const auto [name, value] = pushMark(repository);
    // Each setting ends with a zero byte; one before the first makes all alike.
    const std::string wanted = '\0' + name + '=' + value + '\0';
    return isAnyProcess(
        [&](const fs::path& process) { return ('\0' + environmentOf(process) + '\0').contains(wanted); });
}

std::optional<bool> isGitAtWork(const Repository& repository)
{
    std::vector<fs::path> folders;
    const auto add = [&](const fs::path& folder) {
        std::error_code error;
        if (fs::path place = fs::canonical(withoutSlash(folder), error); !error)
            folders.push_back(std::move(place));
    };
    for (const fs::path& folder : {repository.commonDir(), repository.gitDir(), repository.workDir()})
        add(folder);
    // gitrepository-layout(5): worktrees/<id>/gitdir names the .git file of a linked one.
    std::error_code none;
    for (fs::directory_iterator at(repository.commonDir() / "worktrees", none); !none && at != fs::directory_iterator();
         at.increment(none))
        add(fs::path(firstLine(at->path() / "gitdir")).parent_path());
    return isAnyProcess([&](const fs::path& process) {
        std::error_code error;
        const fs::path where = fs::read_symlink(process / "cwd", error);
        return !error && firstLine(process / "comm").starts_with("git") &&
               std::ranges::any_of(folders, [&](const fs::path& folder) { return isInside(where, folder); });
    });
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/keep/worktree_paths.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/tree/names.h"

#include <git2/sys/path.h>

#include <filesystem>
#include <set>

#include <sys/stat.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t maxNamed = 8;

std::string listed(const std::set<std::string>& paths)
{
    std::string text;
    std::size_t count = 0;
    for (const std::string& path : paths) {
        if (count == maxNamed) {
            text += " and " + std::to_string(paths.size() - maxNamed) + " more";
            break;
        }
        text += (count++ ? ", " : "") + displayText(path, 300);
    }
    return text;
}

bool isRemoved(const std::vector<PathChange>& moves, const std::string& path)
{
    const PathChange* move = findMove(moves, path);
    return move && move->before.exists() && !move->after.exists() && move->before.mode != FileMode::Submodule;
}

// The first thing inside `folder` that this move does not itself remove.
std::string strangerInside(const fs::path& root, const std::vector<PathChange>& moves, const std::string& folder)
{
    std::error_code error;
    fs::recursive_directory_iterator files(root / folder, error);
    for (; !error && files != fs::recursive_directory_iterator(); files.increment(error)) {
        const bool isFolder = files->is_directory(error) && !files->is_symlink(error);
        const std::string path = files->path().lexically_relative(root).generic_string();
        if (!isFolder && !isRemoved(moves, path))
            return path;
    }
    // What cannot be listed cannot be known to be free.
    return error ? folder : std::string();
}

struct Overlap {
    std::set<std::string> changed, untracked;
};

void checkIndexEntry(git_index* index, const PathChange& move, Overlap& overlap)
{
    const git_index_entry* entry = git_index_get_bypath(index, move.path.c_str(), 0);
    if (!move.before.exists()) {
        if (entry)
            overlap.changed.insert(move.path);
        return;
    }
    const bool same = entry && fromGit(entry->id) == move.before.id && FileMode(entry->mode) == move.before.mode;
    if (!same)
        overlap.changed.insert(move.path);
}

// What git was told not to look at (skip-worktree, assume-unchanged) is not compared by libgit2. Where it would be overwritten
// git looks all the same (unpack-trees.c, verify_uptodate); a file that is not there is fine.
void checkUnwatched(git_repository* handle, git_index* index, const PathChange& move, Overlap& overlap)
{
    const git_index_entry* entry = git_index_get_bypath(index, move.path.c_str(), 0);
    if (!entry || !isUnwatched(*entry) || !isRegularFile(move.before.mode))
        return;
    struct stat status{};
    if (::lstat((fs::path(git_repository_workdir(handle)) / move.path).c_str(), &status) < 0)
        return;
    git_oid now;
    if (!S_ISREG(status.st_mode) ||
        git_repository_hashfile(&now, handle, move.path.c_str(), GIT_OBJECT_BLOB, nullptr) < 0 ||
        fromGit(now) != move.before.id)
        overlap.changed.insert(move.path);
}

// Tracked files whose contents on disk are not what the index says, among the paths that move.
Result<void> checkContents(git_repository* handle, git_index* index, const std::vector<PathChange>& moves,
                           Overlap& overlap)
{
    for (const PathChange& move : moves)
        checkUnwatched(handle, index, move, overlap);
    std::vector<char*> paths;
    for (const PathChange& move : moves) {
        if (move.before.exists() && move.before.mode != FileMode::Submodule)
            paths.push_back(const_cast<char*>(move.path.c_str()));
    }
    // An empty list would mean every path.
    if (paths.empty())
        return {};
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_DISABLE_PATHSPEC_MATCH | GIT_DIFF_INCLUDE_TYPECHANGE | GIT_DIFF_INCLUDE_UNREADABLE |
                    GIT_DIFF_SKIP_BINARY_CHECK;
    options.ignore_submodules = GIT_SUBMODULE_IGNORE_ALL;
    options.pathspec = {paths.data(), paths.size()};
    Handle<git_diff> diff;
    if (git_diff_index_to_workdir(out(diff), handle, index, &options) < 0)
        return libgitError("The worktree cannot be compared with the index", git_repository_workdir(handle));
    for (std::size_t i = 0; i < git_diff_num_deltas(diff.get()); ++i) {
        const git_diff_delta* delta = git_diff_get_delta(diff.get(), i);
        const std::string path = delta->old_file.path;
        const PathChange* move = findMove(moves, path);
        if (move && move->before.exists())
            overlap.changed.insert(path);
    }
    return {};
}

// Before anything else: nothing of such a commit is written, not even what is harmless by itself.
Result<void> checkNames(const std::vector<PathChange>& moves)
{
    const auto harmful = [](const PathChange& move) {
        const std::string_view name = std::string_view(move.path).substr(move.path.rfind('/') + 1);
        // git reads .gitmodules wherever it leads, and so refuses one that is a symlink (common practice).
        return !isSafePath(move.path) ||
               (move.after.mode == FileMode::Symlink &&
                git_path_is_gitfile(name.data(), name.size(), GIT_PATH_GITFILE_GITMODULES, GIT_PATH_FS_GENERIC) > 0);
    };
    const auto at = std::ranges::find_if(moves, harmful);
    if (at == moves.end())
        return {};
    return fail(ErrorKind::Refused, "The commit holds a path that no worktree may have", displayText(at->path, 300),
                "Whoever made it may mean harm; git ls-tree -r shows what it holds");
}

// What stands where a path is to be written and is none of `moves`' own: the obstructing path, or nothing.
std::string obstructionAt(git_repository* handle, const std::vector<PathChange>& moves, const PathChange& move)
{
    const std::string& path = move.path;
    const fs::path root = git_repository_workdir(handle);
    struct stat status{};
    for (std::size_t slash = path.find('/'); slash != std::string::npos; slash = path.find('/', slash + 1)) {
        const std::string ancestor = path.substr(0, slash);
        if (::lstat((root / ancestor).c_str(), &status) < 0)
            return {};
        if (!S_ISDIR(status.st_mode))
            return isRemoved(moves, ancestor) ? std::string() : ancestor;
    }
    if (::lstat((root / path).c_str(), &status) < 0)
        return {};
    if (!S_ISDIR(status.st_mode))
        return path;
    // What is in a submodule's folder is the submodule's.
    return move.after.mode == FileMode::Submodule ? std::string() : strangerInside(root, moves, path);
}

} // namespace

bool isUnwatched(const git_index_entry& entry)
{
    return (entry.flags & GIT_INDEX_ENTRY_VALID) != 0 || (entry.flags_extended & GIT_INDEX_ENTRY_SKIP_WORKTREE) != 0;
}

const PathChange* findMove(const std::vector<PathChange>& moves, std::string_view path)
{
    const auto at =
        std::ranges::lower_bound(moves, path, {}, [](const PathChange& m) { return std::string_view(m.path); });
    return at != moves.end() && at->path == path ? &*at : nullptr;
}

Result<std::vector<PathChange>> pathMoves(ObjectStore& store, const Oid& from, const Oid& to, const Progress& progress)
{
    if (from == to)
        return std::vector<PathChange>{};
    const auto before = treeOf(store, from), after = treeOf(store, to);
    if (!before || !after)
        return std::unexpected(before ? after.error() : before.error());
    auto changes =
        treeChanges(StoreTrees{store}, *before, *after, [&](const std::string&) { return !progress.stopped(); });
    if (!changes)
        return std::unexpected(changes.error());
    if (!*changes)
        return cancelled();
    std::vector<PathChange>& moves = **changes;
    // A tree that is not sorted, or holds a name twice, was not made by git.
    if (!std::ranges::is_sorted(moves, {}, &PathChange::path) ||
        std::ranges::adjacent_find(moves, {}, &PathChange::path) != moves.end())
        return fail(ErrorKind::Broken, "A tree object is not sorted, or holds a name twice", after->hex(),
                    "Run git fsck in the repository");
    return std::move(moves);
}

Result<void> checkPaths(git_repository* handle, git_index* index, const std::vector<PathChange>& moves)
{
    if (git_index_has_conflicts(index))
        return fail(ErrorKind::Refused, "The index has conflicts that are not settled yet", {},
                    "Finish or abort what was begun in git first");
    if (auto named = checkNames(moves); !named)
        return named;
    Overlap overlap;
    for (const PathChange& move : moves)
        checkIndexEntry(index, move, overlap);
    if (auto checked = checkContents(handle, index, moves, overlap); !checked)
        return checked;
    for (const PathChange& move : moves) {
        const bool newlyThere = !move.before.exists();
        const bool replacesFolder =
            move.before.mode == FileMode::Submodule && move.after.mode != FileMode::Submodule && move.after.exists();
        if ((!newlyThere && !replacesFolder) || overlap.changed.contains(move.path))
            continue;
        const std::string obstruction = obstructionAt(handle, moves, move);
        if (!obstruction.empty())
            overlap.untracked.insert(obstruction);
    }
    if (!overlap.changed.empty()) {
        Handle<git_config> config;
        int stashes = 0;
        if (git_repository_config(out(config), handle) == 0)
            git_config_get_bool(&stashes, config.get(), "rebase.autostash");
        const std::string remedy = "Commit them, put them aside or undo them, then try again";
        return fail(ErrorKind::Refused, "Local changes would be overwritten in " + listed(overlap.changed), {},
                    stashes ? "rebase.autoStash is git's and is not followed here. " + remedy : remedy);
    }
    if (!overlap.untracked.empty())
        return fail(ErrorKind::Refused, "Untracked files would be overwritten: " + listed(overlap.untracked), {},
                    "Move them out of the way, then try again");
    return {};
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/local_changes.h"

#include "core/git/filters.h"
#include "core/git/handles.h"
#include "core/git/index_file.h"

#include <algorithm>
#include <set>

namespace espalier {

namespace {

namespace fs = std::filesystem;

int stopWhenAsked(const git_diff*, const char*, const char*, void* payload)
{
    return static_cast<const Progress*>(payload)->stopped() ? GIT_EUSER : 0;
}

git_diff_options optionsFor(const Progress& progress)
{
    // Without GIT_DIFF_UPDATE_INDEX: a look changes nothing, the index's cache of file times neither.
    git_diff_options options = GIT_DIFF_OPTIONS_INIT;
    options.flags = GIT_DIFF_INCLUDE_UNTRACKED | GIT_DIFF_INCLUDE_TYPECHANGE | GIT_DIFF_IGNORE_SUBMODULES;
    options.ignore_submodules = GIT_SUBMODULE_IGNORE_ALL;
    options.progress_cb = stopWhenAsked;
    options.payload = const_cast<Progress*>(&progress);
    return options;
}

std::unexpected<Error> failed(const Repository& repository, const Progress& progress)
{
    if (progress.stopped())
        return cancelled();
    return libgitError("The local changes cannot be read", repository.workDir().string(), "Check git status");
}

// Null where there is no commit yet: everything in the index is then staged.
Handle<git_tree> headTree(const Repository& repository)
{
    Handle<git_object> tree;
    Handle<git_tree> found;
    if (git_revparse_single(out(tree), raw(repository), "HEAD^{tree}") == 0)
        git_tree_lookup(out(found), raw(repository), git_object_id(tree.get()));
    return found;
}

} // namespace

std::string LocalChanges::words() const
{
    std::string text;
    const std::pair<std::size_t, const char*> parts[] = {
        {conflicted, " conflicted"}, {changed, " changed"}, {staged, " staged"}, {untracked, " untracked"}};
    for (const auto& [count, word] : parts)
        if (count > 0)
            text += (text.empty() ? "" : ", ") + std::to_string(count) + word;
    return text;
}

Result<LocalChanges> countLocalChanges(const Repository& repository, const Progress& progress)
{
    LocalChanges counts;
    if (repository.isBare())
        return counts;
    const git_diff_options options = optionsFor(progress);
    const StoppableFilters filters(progress.stop);
    Handle<git_index> index;
    Handle<git_diff> staged, changed;
    const Handle<git_tree> tree = headTree(repository);
    if (auto opened = openIndex(repository, index); !opened)
        return std::unexpected(opened.error());
    if (git_diff_tree_to_index(out(staged), raw(repository), tree.get(), index.get(), &options) < 0 ||
        git_diff_index_to_workdir(out(changed), raw(repository), index.get(), &options) < 0)
        return failed(repository, progress);
    git_diff_find_options renames = GIT_DIFF_FIND_OPTIONS_INIT;
    renames.flags = GIT_DIFF_FIND_RENAMES;
    if (git_diff_find_similar(staged.get(), &renames) < 0)
        return failed(repository, progress);
    std::set<std::string> conflicted;
    const auto count = [&](git_diff* diff, std::size_t& into) {
        for (std::size_t i = 0; i < git_diff_num_deltas(diff); ++i) {
            const git_diff_delta* delta = git_diff_get_delta(diff, i);
            if (delta->status == GIT_DELTA_CONFLICTED)
                conflicted.insert(delta->new_file.path ? delta->new_file.path : delta->old_file.path);
            else if (delta->status == GIT_DELTA_UNTRACKED)
                ++counts.untracked;
            else
                ++into;
        }
    };
    count(staged.get(), counts.staged);
    count(changed.get(), counts.changed);
    counts.conflicted = conflicted.size();
    return counts;
}

std::vector<fs::path> trackedFolders(const Repository& repository, std::size_t most)
{
    std::vector<fs::path> folders;
    Handle<git_index> index;
    if (repository.isBare() || !openIndex(repository, index))
        return folders;
    std::set<std::pair<std::ptrdiff_t, std::string>> found{{-1, {}}}; // by depth
    for (std::size_t i = 0; i < git_index_entrycount(index.get()); ++i) {
        std::string_view path = git_index_get_byindex(index.get(), i)->path;
        // The folders above one that is known are known.
        for (std::size_t slash; (slash = path.rfind('/')) != std::string_view::npos;) {
            path = path.substr(0, slash);
            if (!found.emplace(std::ranges::count(path, '/'), path).second)
                break;
        }
    }
    for (const auto& [depth, path] : found) {
        if (folders.size() == most)
            break;
        folders.push_back(path.empty() ? repository.workDir() : repository.workDir() / path);
    }
    return folders;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/local_changes.h"

#include "core/git/files.h"
#include "core/git/filters.h"
#include "core/git/handles.h"
#include "core/git/index_file.h"
#include "core/history/diff_changes.h"

#include <algorithm>
#include <ranges>
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

namespace {

// What is staged, and what the worktree has beside that.
struct Differences {
    Handle<git_index> index;
    Handle<git_diff> staged, changed;
};

Result<Differences> compare(const Repository& repository, const git_diff_options& options, const Progress& progress)
{
    Differences found;
    const Handle<git_tree> tree = headTree(repository);
    if (auto opened = openIndex(repository, found.index); !opened)
        return std::unexpected(opened.error());
    git_index* index = found.index.get();
    if (git_diff_tree_to_index(out(found.staged), raw(repository), tree.get(), index, &options) < 0 ||
        git_diff_index_to_workdir(out(found.changed), raw(repository), index, &options) < 0)
        return failed(repository, progress);
    git_diff_find_options renames = GIT_DIFF_FIND_OPTIONS_INIT;
    renames.flags = GIT_DIFF_FIND_RENAMES;
    if (git_diff_find_similar(found.staged.get(), &renames) < 0)
        return failed(repository, progress);
    return found;
}

const char* pathOf(const git_diff_delta& delta)
{
    return delta.new_file.path ? delta.new_file.path : delta.old_file.path;
}

// Calls `each(kind, difference, place in it, delta)` for every file once; a conflicted one may stand in both.
template <typename Each> void eachFile(const Differences& found, Each&& each)
{
    std::set<std::string> conflicted;
    for (git_diff* diff : {found.staged.get(), found.changed.get()})
        for (std::size_t i = 0; i < git_diff_num_deltas(diff); ++i) {
            const git_diff_delta& delta = *git_diff_get_delta(diff, i);
            if (delta.status != GIT_DELTA_CONFLICTED)
                each(delta.status == GIT_DELTA_UNTRACKED ? LocalKind::Untracked
                     : diff == found.staged.get()        ? LocalKind::Staged
                                                         : LocalKind::Changed,
                     diff, i, delta);
            else if (conflicted.insert(pathOf(delta)).second)
                each(LocalKind::Conflicted, diff, i, delta);
        }
}

void countOne(LocalChanges& counts, LocalKind kind)
{
    ++(kind == LocalKind::Conflicted ? counts.conflicted
       : kind == LocalKind::Changed  ? counts.changed
       : kind == LocalKind::Staged   ? counts.staged
                                     : counts.untracked);
}

// Of a conflict git shows the worktree's file against both sides; here it stands against the one that is checked out.
FileChange conflictedFile(const Repository& repository, git_index* index, const std::string& path,
                          const ChangesOptions& options)
{
    FileChange change;
    change.oldPath = change.newPath = path;
    const git_index_entry *base = nullptr, *own = nullptr, *other = nullptr;
    Handle<git_blob> blob;
    if (git_index_conflict_get(&base, &own, &other, index, path.c_str()) == 0 && own)
        git_blob_lookup(out(blob), raw(repository), &own->id);
    std::string_view before;
    if (blob)
        before = {static_cast<const char*>(git_blob_rawcontent(blob.get())), std::size_t(git_blob_rawsize(blob.get()))};
    const auto now = readFileBounded(repository.workDir() / path, std::size_t(biggestText));
    change.kind = !now ? ChangeKind::Deleted : blob ? ChangeKind::Modified : ChangeKind::Added;
    change.binary =
        before.substr(0, 8000).contains('\0') || (now && std::string_view(*now).substr(0, 8000).contains('\0'));
    change.tooBig = (!now && now.error().kind == ErrorKind::Broken) || before.size() > std::size_t(biggestText);
    if (change.binary || change.tooBig)
        return change;
    if (auto lines = changesOfTexts(before, now ? std::string_view(*now) : std::string_view(), options)) {
        change.added = lines->added;
        change.deleted = lines->deleted;
        change.tooBig = lines->tooBig;
        change.hunks = std::move(lines->hunks);
    }
    return change;
}

} // namespace

Result<LocalChanges> countLocalChanges(const Repository& repository, const Progress& progress)
{
    LocalChanges counts;
    if (repository.isBare())
        return counts;
    const StoppableFilters filters(progress.stop);
    const auto found = compare(repository, optionsFor(progress), progress);
    if (!found)
        return std::unexpected(found.error());
    eachFile(*found, [&](LocalKind kind, git_diff*, std::size_t, const git_diff_delta&) { countOne(counts, kind); });
    return counts;
}

Result<LocalFiles> readLocalFiles(const Repository& repository, const ChangesOptions& options, const Progress& progress)
{
    LocalFiles read;
    if (repository.isBare())
        return read;
    const StoppableFilters filters(progress.stop);
    git_diff_options diffOptions = optionsFor(progress);
    diffOptions.flags |= GIT_DIFF_INDENT_HEURISTIC | GIT_DIFF_SHOW_UNTRACKED_CONTENT;
    if (options.ignoreWhitespace)
        diffOptions.flags |= GIT_DIFF_IGNORE_WHITESPACE;
    diffOptions.context_lines = std::uint32_t(std::clamp(options.context, 0, 1'000'000));
    diffOptions.max_size = biggestText;
    const auto found = compare(repository, diffOptions, progress);
    if (!found)
        return std::unexpected(found.error());
    struct Place {
        LocalKind kind;
        std::string path;
        git_diff* diff;
        std::size_t at;
    };
    std::vector<Place> places;
    eachFile(*found, [&](LocalKind kind, git_diff* diff, std::size_t at, const git_diff_delta& delta) {
        countOne(read.counts, kind);
        places.push_back({kind, pathOf(delta), diff, at});
    });
    std::ranges::stable_sort(places, {}, [](const Place& place) { return std::pair(place.kind, place.path); });
    read.truncated = places.size() > options.maxFiles;
    for (const Place& place : places | std::views::take(std::ptrdiff_t(options.maxFiles))) {
        if (progress.stopped())
            return cancelled();
        LocalFile& file = read.files.emplace_back(place.kind);
        if (place.kind == LocalKind::Conflicted) {
            file.change = conflictedFile(repository, found->index.get(), place.path, options);
        } else if (place.path.ends_with('/')) {
            file.change.kind = ChangeKind::Added;
            file.change.oldPath = file.change.newPath = place.path;
        } else if (auto change = changeOfDelta(repository, place.diff, place.at, options)) {
            file.change = std::move(*change);
        } else if (progress.stopped()) {
            return cancelled();
        } else {
            // It may be gone since: what is left is its name.
            file.change.oldPath = file.change.newPath = place.path;
        }
        if (place.kind == LocalKind::Untracked)
            file.change.kind = ChangeKind::Added;
    }
    return read;
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

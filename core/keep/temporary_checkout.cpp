// SPDX-License-Identifier: MIT
#include "core/keep/temporary_checkout.h"

#include "core/git/filters.h"
#include "core/git/handles.h"
#include "core/git/library.h"
#include "core/git/process.h"
#include "core/git/temporary_folder.h"
#include "core/git/text.h"
#include "core/keep/worktree_folder.h"
#include "core/tree/differences.h"
#include "core/tree/names.h"

#include <cstdlib>

namespace espalier {

namespace {

// What the path's filters make of a blob on its way to the worktree.
Result<std::string> filtered(const Repository& repository, const std::string& path, std::string_view bytes)
{
    git_filter_list* list = nullptr;
    const auto trouble = [&] {
        return libgitError("A file's contents cannot be made", displayText(path, 300),
                           "Check what its attributes and your filters say");
    };
    if (git_filter_list_load(&list, raw(repository), nullptr, path.c_str(), GIT_FILTER_TO_WORKTREE,
                             GIT_FILTER_DEFAULT) < 0)
        return trouble();
    const std::unique_ptr<git_filter_list, decltype(&git_filter_list_free)> filters(list, git_filter_list_free);
    if (!filters)
        return std::string(bytes);
    Buffer made;
    if (git_filter_list_apply_to_buffer(&made, filters.get(), bytes.data(), bytes.size()) < 0)
        return trouble();
    return made.str();
}

Result<void> writeFiles(const Repository& repository, const CheckRequest& request, const std::filesystem::path& into,
                        const Progress& progress)
{
    ObjectStore store(repository);
    if (request.objects)
        store.replaceNewObjects(*request.objects);
    const auto folder = WorktreeFolder::open(into);
    if (!folder)
        return std::unexpected(folder.error());
    const auto files =
        treeChanges(StoreTrees{store}, Oid{}, request.tree, [&](const std::string&) { return !progress.stopped(); });
    if (!files)
        return std::unexpected(files.error());
    if (!*files)
        return cancelled();
    const StoppableFilters filters(progress.stop);
    std::uint64_t done = 0;
    for (const PathChange& file : **files) {
        if (progress.stopped())
            return cancelled();
        if (done++ % 256 == 0)
            progress.report("Writing the files", done, (*files)->size());
        if (!isSafePath(file.path))
            return fail(ErrorKind::Refused, "The commit holds a path that no folder may have",
                        displayText(file.path, 300), "Look at the commit with git ls-tree");
        if (file.after.mode == FileMode::Submodule) {
            if (auto made = folder->makeFolder(file.path); !made)
                return made;
            continue;
        }
        const auto blob = store.read(file.after.id, ObjectType::Blob);
        if (!blob)
            return std::unexpected(blob.error());
        if (file.after.mode == FileMode::Symlink) {
            if (auto made = folder->writeLink(file.path, std::string(blob->view())); !made)
                return made;
            continue;
        }
        const auto bytes = filtered(repository, file.path, blob->view());
        if (!bytes)
            return progress.stopped() ? cancelled() : std::unexpected(bytes.error());
        if (auto made = folder->writeFile(file.path, *bytes, file.after.mode == FileMode::Executable); !made)
            return std::unexpected(made.error());
    }
    return {};
}

// Builds leave folders that nobody may write to. False when something is there still.
bool removeAll(const std::filesystem::path& folder)
{
    namespace fs = std::filesystem;
    std::error_code error;
    fs::remove_all(folder, error);
    if (!fs::exists(folder, error))
        return true;
    const auto open = [](const fs::path& at) {
        std::error_code ignored;
        fs::permissions(at, fs::perms::owner_all, fs::perm_options::add, ignored);
    };
    // A folder is opened before the walk goes into it; where one is, symlinks are not followed.
    open(folder);
    for (fs::recursive_directory_iterator at(folder, fs::directory_options::skip_permission_denied, error), end;
         !error && at != end; at.increment(error))
        if (!at->is_symlink(error) && at->is_directory(error))
            open(at->path());
    fs::remove_all(folder, error);
    return !fs::exists(folder, error);
}

} // namespace

Result<CheckEnded> runCheck(const CheckRequest& request, const std::function<void(std::string_view)>& heard,
                            const Progress& progress)
{
    const auto repository = Repository::open(request.repository);
    if (!repository)
        return std::unexpected(repository.error());
    const TemporaryFolder folder("espalier-check");
    if (folder.path().empty())
        return fail(ErrorKind::Storage, "A temporary folder cannot be made", {},
                    "Make room on the disk, or check what TMPDIR names");
    CheckEnded ended;
    auto result = writeFiles(*repository, request, folder.path(), progress).and_then([&] {
        progress.report("Running the check");
        ProcessRequest process;
        // One pipe for both outputs keeps them in order.
        process.argv = shellCommand("exec 1>&2\n" + request.command);
        process.folder = folder.path();
        process.stop = progress.stop;
        // Above the folder there may be somebody's repository, a user's home say.
        const char* ceilings = std::getenv("GIT_CEILING_DIRECTORIES");
        process.environment["GIT_CEILING_DIRECTORIES"] =
            folder.path().parent_path().string() + (ceilings && *ceilings ? ":" + std::string(ceilings) : "");
        process.environment["TERM"] = "dumb";
        return run(process, heard);
    });
    if (!removeAll(folder.path()))
        ended.left = folder.path();
    if (!result)
        return std::unexpected(result.error());
    ended.exitCode = result->exitCode;
    return ended;
}

} // namespace espalier

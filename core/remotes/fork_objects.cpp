// SPDX-License-Identifier: MIT
#include "core/remotes/fork_objects.h"

#include "core/git/process.h"
#include "core/git/text.h"
#include "core/history/ref_reader.h"
#include "core/remotes/fetching.h"

namespace espalier {

Result<void> bringToFolder(const Repository& repository, const std::filesystem::path& folder,
                           const std::vector<Oid>& tips, const Progress& progress)
{
    const auto there = Repository::open(folder);
    if (!there || std::ranges::all_of(tips, [&](const Oid& tip) { return hasCommit(*there, tip); }))
        return {};
    std::string revisions;
    for (const Oid& tip : tips)
        revisions += tip.hex() + '\n';
    // What other refs lead to was left alone there.
    for (const RawRef& ref : readRawRefs(*there, "refs/").list)
        if (!std::ranges::contains(tips, ref.id) && hasCommit(*there, ref.id))
            revisions += '^' + ref.id.hex() + '\n';
    progress.report("Bringing again what was cleared away");
    // Its temporary file is made on the disk where it stays.
    const std::filesystem::path objects = there->commonDir() / "objects";
    const auto ended =
        run({.argv = {"git", "pack-objects", "--revs", "--quiet", (objects / "pack" / "pack").string()},
             .environment = {{"GIT_DIR", repository.gitDir().string()},
                             {"GIT_OBJECT_DIRECTORY", objects.string()},
                             {"GIT_ALTERNATE_OBJECT_DIRECTORIES", (repository.commonDir() / "objects").string()}},
             .input = std::move(revisions),
             .stop = progress.stop});
    if (!ended)
        return std::unexpected(ended.error());
    const auto again = Repository::open(folder);
    const bool whole = again && std::ranges::all_of(tips, [&](const Oid& tip) { return hasCommit(*again, tip); });
    if (ended->ok() && whole)
        return {};
    return fail(ErrorKind::Broken,
                "A gc there cleared away what was pushed, and it cannot be brought again [" + ended->lastWords() + "]",
                displayText(folder.string(), 500), "Delete the branch there and push again");
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/index_file.h"

#include "core/git/files.h"
#include "core/git/mapped_file.h"
#include "core/git/process.h"
#include "core/git/temporary_folder.h"

#include <git2/sys/repository.h>

#include <cerrno>
#include <cstdlib>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

constexpr const char* turnOff = "Turn it off: git config core.splitIndex false, then git update-index --no-split-index";

// The extension "link" names the other file (gitformat-index(5)). Names of files may hold the same letters, so the file that
// it names must be there, too, or the library must have stumbled over it.
bool isSplit(const fs::path& file, const fs::path& gitDir)
{
    const auto index = MappedFile::open(file);
    if (!index)
        return false;
    const std::string_view bytes = index->bytes();
    for (std::size_t at = bytes.find("link"); at != std::string_view::npos; at = bytes.find("link", at + 1)) {
        if (at + 28 > bytes.size())
            return false;
        std::error_code ignored;
        if (fs::exists(gitDir / ("sharedindex." + Oid::fromRaw(&bytes[at + 8]).hex()), ignored))
            return true;
    }
    return false;
}

} // namespace

Result<void> joinSplitIndex(const fs::path& gitDir, const fs::path& copy)
{
    if (!isSplit(copy, gitDir))
        return {};
    struct stat before{};
    ::stat(copy.c_str(), &before);
    const auto joined = run({.argv = {"git", "-c", "core.splitIndex=false", "update-index", "--no-split-index"},
                             .environment = {{"GIT_DIR", gitDir.string()}, {"GIT_INDEX_FILE", copy.string()}}});
    if (!joined || !joined->ok())
        return fail(ErrorKind::Unsupported, "The index is split in two files, and git cannot put it together here",
                    (gitDir / "index").string(), turnOff);
    // Its time says which files git has to look at again.
    const timespec times[] = {before.st_atim, before.st_mtim};
    if (::utimensat(AT_FDCWD, copy.c_str(), times, 0) < 0)
        return storageError("The index cannot be copied", copy, errno);
    return {};
}

std::unexpected<Error> indexError(const fs::path& gitDir)
{
    const fs::path file = gitDir / "index";
    if (isSplit(file, gitDir))
        return fail(ErrorKind::Unsupported, "The index is split in two files", file.string(), turnOff);
    if (const auto there = MappedFile::open(file); !there && there.error().kind != ErrorKind::NotFound)
        return fail(there.error().kind, "The index cannot be read", file.string(),
                    "Check that it is a plain file and who may read it");
    return libgitError("The index is damaged", file.string(),
                       "Move it away; git reset then makes it anew from HEAD, and leaves the files alone");
}

Result<void> openIndex(const Repository& repository, Handle<git_index>& index)
{
    const fs::path gitDir = repository.gitDir();
    if (git_repository_index(out(index), raw(repository)) == 0 && git_index_read(index.get(), 0) == 0)
        return {};
    if (!isSplit(gitDir / "index", gitDir))
        return indexError(gitDir);
    const TemporaryFolder folder("espalier-index");
    const fs::path copy = folder.path() / "index";
    std::error_code error;
    fs::copy_file(gitDir / "index", copy, error);
    if (!error)
        fs::last_write_time(copy, fs::last_write_time(gitDir / "index", error), error);
    if (folder.path().empty() || error)
        return fail(ErrorKind::Storage, "The index cannot be copied", copy.string(),
                    "Check the space in the folder for temporary files");
    if (auto joined = joinSplitIndex(gitDir, copy); !joined)
        return joined;
    if (git_index_open(out(index), copy.c_str()) < 0 || git_repository_set_index(raw(repository), index.get()) < 0)
        return indexError(gitDir);
    return {};
}

} // namespace espalier

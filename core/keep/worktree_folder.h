// SPDX-License-Identifier: MIT
//
// The only way by which files of a worktree are read, written and removed. A path is walked folder by folder, each opened
// from the one above and never through a symlink, so that whatever trees, worktree and other programs make of the names,
// nothing outside the worktree is touched. Private to core/keep.
//
//     auto folder = WorktreeFolder::open(repository.workDir());
//     folder->remove("a");                                 // the symlink, wherever it leads
//     folder->writeFile("a/b.txt", bytes, false);          // makes the folder a
#pragma once

#include "core/git/error.h"
#include "core/git/spawn.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include <sys/stat.h>

namespace espalier {

// Every path is relative to the worktree, '/' between names. All functions refuse (Refused) one that is not safe, see
// isSafePath(). What stands where a folder is needed, e.g. a symlink, is an error for what writes and the same as nothing
// for what looks and removes.
class WorktreeFolder {
  public:
    // Errors: Storage.
    static Result<WorktreeFolder> open(const std::filesystem::path& root);

    // What lstat says; nothing when nothing stands there.
    Result<std::optional<struct stat>> look(std::string_view path) const;
    // Where a symlink leads; a plain file's bytes. Errors: NotFound, Storage, Broken.
    Result<std::string> readLink(std::string_view path) const;
    Result<std::string> readFile(std::string_view path, std::size_t limit) const;

    // Both make the folders above and never replace anything: Refused when something stands there. The file is there whole
    // or not at all. Errors: Storage; the file is then not there. The mode is git's, less what umask takes. What writeFile()
    // returns tells later whether another program has saved something there since.
    Result<struct stat> writeFile(std::string_view path, std::string_view bytes, bool executable) const;
    Result<void> writeLink(std::string_view path, const std::string& target) const;

    // A file or symlink that is to go is put aside first, under a name of our own in its folder: what is looked at there
    // then is what is removed, whatever another program saves under the path meanwhile. Nothing there is no error.
    Result<void> putAside(std::string_view path) const;
    // Where it is then, for look(), readFile() and remove().
    static std::string asideOf(std::string_view path);
    // False when something else stands at the path by now; it stays aside then.
    Result<bool> putBack(std::string_view path) const;
    // Removes what writeFile() left when the program was killed in it.
    Result<void> removeUnfinished(std::string_view path) const;
    // A folder; one that is there already will do.
    Result<void> makeFolder(std::string_view path) const;

    // A file or symlink, not a folder. Nothing to remove is no error. Errors: Storage.
    Result<void> remove(std::string_view path) const;
    // A folder that holds nothing but empty folders. False, and nothing is lost, when there is more in it.
    Result<bool> removeEmptyFolder(std::string_view path) const;
    // The folders above the path, from the innermost, as long as they are empty.
    void removeEmptyParents(std::string_view path) const;

  private:
    // A name in a folder that is held open: what becomes of the path meanwhile does not lead elsewhere.
    struct Place {
        Fd folder;
        std::string name;
    };
    enum class Missing : std::uint8_t { IsNothing, IsMade };

    WorktreeFolder(Fd root, std::filesystem::path path) : m_root(std::move(root)), m_path(std::move(path)) {}
    Result<std::optional<Place>> placeOf(std::string_view path, Missing missing) const;
    Result<Place> placeToWrite(std::string_view path) const;
    Result<bool> removeEmptyFolder(std::string_view path, int depth) const;
    std::filesystem::path shown(std::string_view path) const { return m_path / path; }

    Fd m_root;
    std::filesystem::path m_path; // for the words of errors only
};

} // namespace espalier

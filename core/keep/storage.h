// SPDX-License-Identifier: MIT
//
// Files of the program's own under `commonDir/espalier`: written so that a reader finds the old or the new one, never a
// part, and so that what was reported as written survives a power cut. Private to core/keep and core/remotes.
//
//     auto lock = ChangeLock::take(repository);          // one change at a time, whichever process
//     auto done = writeFileAtomically(folder / "x.json", text);
#pragma once

#include "core/git/error.h"
#include "core/git/repository.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace espalier {

// `commonDir/espalier`, not necessarily there.
std::filesystem::path ownFolder(const Repository& repository);

// Creates the folders. Errors: Storage.
Result<void> makeFolders(const std::filesystem::path& folder);
// Temporary file, fsync, rename, fsync of the folder. Errors: Storage; the old file is then still there.
Result<void> writeFileAtomically(const std::filesystem::path& file, std::string_view bytes);
// Errors: NotFound, Storage, Broken when it is larger than `limit` bytes.
Result<std::string> readFileBounded(const std::filesystem::path& file, std::size_t limit);
// Makes renames and removals inside the folder durable. Errors: Storage.
Result<void> syncFolder(const std::filesystem::path& folder);

// What errno says, in our words.
std::unexpected<Error> storageError(std::string what, const std::filesystem::path& on, int errorNumber);

// Held while a repository is changed, so that two windows, or a window and a command, do not do so at the same time.
// The operating system lets go of it when the process ends, however it ends.
class ChangeLock {
  public:
    // Refused when another process holds it. Errors: Storage.
    static Result<ChangeLock> take(const Repository& repository);
    // Whether somebody holds it now; changes nothing.
    static bool isHeld(const Repository& repository);
    ChangeLock(ChangeLock&& other) noexcept : m_file(other.m_file) { other.m_file = -1; }
    ChangeLock& operator=(ChangeLock&&) = delete;
    ~ChangeLock();

  private:
    explicit ChangeLock(int file) : m_file(file) {}
    int m_file = -1;
};

// A file that is recognised again after a crash: not only its name, the very file.
struct FileMark {
    std::filesystem::path path;
    std::uint64_t device = 0, inode = 0;
    static std::optional<FileMark> of(const std::filesystem::path& path);
};
// Removes it when it is still the very same file. True when it was.
bool removeIfSame(const FileMark& mark);

} // namespace espalier

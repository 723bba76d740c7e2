// SPDX-License-Identifier: MIT
//
// Plain files: written so that a reader finds the old or the new one, never a part, and so that what was reported as written
// survives a power cut; read only up to a bound.
//
//     auto done = writeFileAtomically(folder / "x.json", text);
//     auto text = readFileBounded(folder / "x.json", 1 << 20);
#pragma once

#include "core/git/error.h"

#include <filesystem>
#include <string>
#include <string_view>

namespace espalier {

// Creates the folders. Errors: Storage.
Result<void> makeFolders(const std::filesystem::path& folder);
// Temporary file, fsync, rename, fsync of the folder. Errors: Storage; the old file is then still there. The temporary one is
// made beside it, or in `aside`, a folder on the same disk: for a file in a folder that is not looked through for what was left.
Result<void> writeFileAtomically(const std::filesystem::path& file, std::string_view bytes,
                                 const std::filesystem::path& aside = {});
// Errors: NotFound, Storage, Broken when it is larger than `limit` bytes or no plain file.
Result<std::string> readFileBounded(const std::filesystem::path& file, std::size_t limit);
// The same from an open file, which stays open; `path` is for the words of an error.
Result<std::string> readOpenFile(int file, const std::filesystem::path& path, std::size_t limit);
// Without the blanks and line ends behind it; empty when there is no such file. For git's small files (HEAD, commondir, …).
std::string firstLine(const std::filesystem::path& file);
// Makes renames and removals inside the folder durable; a file's contents. Errors: Storage.
Result<void> syncFolder(const std::filesystem::path& folder);
Result<void> syncFile(const std::filesystem::path& file);
// Removes what writeFileAtomically() left in the folder when its process ended in the midst. Errors: Storage.
Result<void> removeLeftTemporaries(const std::filesystem::path& folder);
bool hasLeftTemporaries(const std::filesystem::path& folder);

// 0, or what errno said.
int writeAll(int file, std::string_view bytes);
// The same; nothing to remove is no error. Tries twice: a disk that fails once may not fail again, and what stays behind is in
// somebody's way.
int removeSurely(const std::filesystem::path& file);
// What errno says, in our words.
std::unexpected<Error> storageError(std::string what, const std::filesystem::path& on, int errorNumber);

} // namespace espalier

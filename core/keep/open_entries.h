// SPDX-License-Identifier: MIT
//
// Entries that are begun and not finished: beside each stands a file `<id>.open`, so that a start need not read the whole
// logbook to find them. It holds the marks of the lock files that the change took. Private to core/keep and core/remotes.
#pragma once

#include "core/keep/logbook.h"
#include "core/keep/storage.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

std::filesystem::path logbookFolder(const Repository& repository);
std::filesystem::path openMark(const Repository& repository, const std::string& id);

// Oldest first; ids for which there may be no entry yet.
std::vector<std::string> openEntryIds(const Repository& repository);
// Errors: Storage.
Result<void> writeLockMarks(const Repository& repository, const std::string& id, const std::vector<FileMark>& marks);
// Empty when there are none or the file is damaged.
std::vector<FileMark> readLockMarks(const Repository& repository, const std::string& id);

// Removes the refs that keep an entry's old tips.
void dropKeptRefs(const Repository& repository, const std::string& id);

} // namespace espalier

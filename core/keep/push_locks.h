// SPDX-License-Identifier: MIT
//
// The locks of git's own that a push can leave when it is killed: in this clone, where it moves the branch's tracking ref, and on
// the other side where that is a folder of the same disk. A program that is killed takes no lock along. Private to core/keep and
// core/remotes.
//
//     removePushLocks(repository, entry, lines);   // the caller holds the ChangeLock
//     removePushLocksIn("/srv/mira/tidebook.git", repository, entry, lines);
#pragma once

#include "core/keep/logbook.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

// Removes the locks on the tracking refs of a push's branches (refs/remotes/<remote>/<branch>.lock), and where a branch was to
// be deleted on packed-refs, that are provably of that push: made since its entry was begun, empty or with the pushed tip or its
// beginning in it, and no git in this clone and nobody who has it open is left. A line for each in `lines`. Where one of these
// cannot be known, it stays.
void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines);

// The same in the repository `fork` that was pushed to: on the entry's branches and on HEAD. Nothing where `fork` is no repository or on another disk, whose clock may be another.
void removePushLocksIn(const std::filesystem::path& fork, const Repository& repository, const LogbookEntry& entry,
                       std::vector<std::string>& lines);

} // namespace espalier

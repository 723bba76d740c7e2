// SPDX-License-Identifier: MIT
//
// The locks of git's own that a push can leave when it is killed: in this clone, where it moves the branch's tracking ref, and on
// the other side where that is a folder of the same disk. A program that is killed takes no lock along. Private to core/keep and
// core/remotes.
//
//     removePushLocks(repository, entry, lines);   // the caller holds the ChangeLock
#pragma once

#include "core/keep/logbook.h"

#include <string>
#include <vector>

namespace espalier {

// Removes the locks on the tracking refs of a push's branches (refs/remotes/<remote>/<branch>.lock), and in the folders that it
// went to those on the branches, on HEAD and of git's upkeep, in both on packed-refs where a branch was to be deleted. Only those
// that are provably of that push: made since its entry was begun, by the clock of the same disk, empty or with the pushed tip or
// its beginning in them, and no git in that repository and nobody who has it open is left. A line for each in `lines`. Where one
// of these cannot be known, it stays.
void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The locks of git's own that a push can leave in this clone when it is killed: it moves the branch's tracking ref itself, and
// a program that is killed takes no lock along. Private to core/keep and core/remotes.
//
//     removePushLocks(repository, entry, lines);   // the caller holds the ChangeLock
#pragma once

#include "core/keep/logbook.h"

#include <string>
#include <vector>

namespace espalier {

// Removes the locks on the tracking refs of a push's branches (refs/remotes/<remote>/<branch>.lock) that are provably of that
// push: made since its entry was begun, empty or with the pushed tip in it, and no git in this clone and nobody who has it open is
// left. A line for each in `lines`. Where one of these cannot be known, it stays.
void removePushLocks(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& lines);

} // namespace espalier

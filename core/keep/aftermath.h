// SPDX-License-Identifier: MIT
//
// What follows a change that is done: the notes that move with rewritten commits, and git's own hooks. Nothing here can
// fail the change any more; what goes wrong becomes a notice. Whoever asked waits for the hooks, can see which one runs, and
// can stop it: that ends the hook and passes over those that would follow. Until then the entry's mark stands and is held, so
// that whoever finds it after a crash, held by nobody, does what is left. Private to core/keep.
#pragma once

#include "core/git/progress.h"
#include "core/keep/logbook.h"

#include <string>
#include <vector>

namespace espalier {

// Whether anything follows the entry at all.
bool hasAftermath(const LogbookEntry& entry);
// For an entry that is done and whose mark the caller holds. Closes the entry at the end.
void runAftermath(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& notices,
                  const Progress& progress);
// Those that a crash has left; the caller does not hold the ChangeLock, since a hook may ask for a change of its own.
void finishAftermaths(const Repository& repository, std::vector<std::string>& lines, const Progress& progress);

} // namespace espalier

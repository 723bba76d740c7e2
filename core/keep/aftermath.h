// SPDX-License-Identifier: MIT
//
// What follows a change that is done: git's own hooks and the notes that move with rewritten commits. Nothing here can
// fail the change any more; what goes wrong becomes a notice. Whoever asked waits for the hooks, can see which one runs, and
// can stop it: that ends the hook and passes over those that would follow. Private to core/keep.
#pragma once

#include "core/keep/apply.h"

namespace espalier {

void runAftermath(const Repository& repository, Applied& applied, bool rewrites, const Progress& progress);

} // namespace espalier

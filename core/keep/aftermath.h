// SPDX-License-Identifier: MIT
//
// What follows a change that is done: git's own hooks and the notes that move with rewritten commits. Nothing here can
// fail the change any more; what goes wrong becomes a notice. Private to core/keep.
#pragma once

#include "core/keep/apply.h"

namespace espalier {

void runAftermath(const Repository& repository, Applied& applied, bool rewrites);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// A rewrite with signatures: signing changes a commit's id and so that of every commit above it, which is why it happens
// here and not in the dry run. Private to core/keep.
#pragma once

#include "core/keep/change.h"

namespace espalier {

// Signs every new commit of the change with the user's program, lowest first, and renames them in moves and pairs.
// Errors: those of signCommit(); nothing has happened then.
Result<void> signRewrite(const Repository& repository, Change& change, const Progress& progress);

} // namespace espalier

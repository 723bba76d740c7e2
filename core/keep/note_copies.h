// SPDX-License-Identifier: MIT
//
// Notes of rewritten commits, copied as git's config says: notes.rewriteRef (and GIT_NOTES_REWRITE_REF), notes.rewrite.rebase,
// notes.rewriteMode (git-config(1)). Private to core/keep.
#pragma once

#include "core/git/repository.h"

#include <string>
#include <utility>
#include <vector>

namespace espalier {

// Returns the number of notes copied; a line in `notices` for each that could not be.
std::size_t copyNotes(const Repository& repository, const std::vector<std::pair<Oid, Oid>>& pairs,
                      std::vector<std::string>& notices);

} // namespace espalier

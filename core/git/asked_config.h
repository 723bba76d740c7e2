// SPDX-License-Identifier: MIT
//
// Forms of configuration that libgit2 does not read (git-config(1)): GIT_CONFIG_COUNT and its keys and values, what `git -c`
// hands on (GIT_CONFIG_PARAMETERS), and [includeIf "hasconfig:…"]. git itself is asked for them, where they are used at all.
// Private to core/git.
//
//     if (auto complete = addAskedConfig(handle); !complete) …
#pragma once

#include "core/git/error.h"

struct git_repository;

namespace espalier {

// Adds what git's configuration of the repository has beyond libgit2's, above all else. Starts no program where none of the
// forms is there. Errors: Unsupported where there is no git to ask; Broken when git cannot read it either.
Result<void> addAskedConfig(git_repository* repository);

} // namespace espalier

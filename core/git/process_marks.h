// SPDX-License-Identifier: MIT
//
// Which programs of a push are still at work, asked after the program that started them is gone. A number of a process is no
// answer: a push is git, what carries it and, on the same disk, the other side, and the numbers are given out anew. So a
// setting in their environment names the repository, and all that they start inherits it.
//
//     request.environment.insert(pushMark(repository));
//     if (isPushAtWork(repository) == false) … // whatever they have left is left for good
#pragma once

#include "core/git/repository.h"

#include <optional>
#include <string>
#include <utility>

namespace espalier {

// For ProcessRequest::environment; the same for every push out of the repository.
std::pair<std::string, std::string> pushMark(const Repository& repository);
// Whether a program with that mark runs; nothing where the system does not tell (no /proc). Programs of another user do not
// count: what git starts runs as who has started it.
std::optional<bool> isPushAtWork(const Repository& repository);
// Whether a program called git… runs in a folder of the repository or one of its worktrees, as the git of a push does: one that
// may hold a lock there without having it open.
std::optional<bool> isGitAtWork(const Repository& repository);

} // namespace espalier

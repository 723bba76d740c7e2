// SPDX-License-Identifier: MIT
//
// Filters from the configuration (gitattributes(5), "filter"): a path's attribute names one, the user's configuration
// says what it runs. libgit2 runs none by itself. `clean` and `smudge` commands are run here whenever libgit2 moves a
// file between worktree and repository; a filter that has only the long-running form (`process`) is not, and callers
// refuse what would touch its paths. The attribute `working-tree-encoding`, which libgit2 does not know, is followed too.
//
//     auto held = filteredPaths(repository, pathsToWrite);
//     if (held && !held->empty()) return fail(ErrorKind::Refused, …);
#pragma once

#include "core/git/error.h"
#include "core/git/repository.h"

#include <stop_token>
#include <string>
#include <vector>

namespace espalier {

// Those of `paths` (relative to the worktree) whose attributes name a filter that the configuration has and that the
// program cannot run. Empty for a bare repository.
Result<std::vector<std::string>> filteredPaths(const Repository& repository, const std::vector<std::string>& paths);

// While it lives, the filters that this thread runs end when a stop is asked for; the file that was being read or written is
// then an error of libgit2's, whatever filter.<name>.required says. For looking only: what writes the worktree must be able
// to write back. Not to be nested.
//
//     const StoppableFilters filters(progress.stop);
class StoppableFilters {
  public:
    explicit StoppableFilters(std::stop_token stop);
    ~StoppableFilters();
    StoppableFilters(const StoppableFilters&) = delete;
    StoppableFilters& operator=(const StoppableFilters&) = delete;
};

// Makes libgit2 run the configured commands and convert encodings, for every repository of this process. Called once, by startLibrary().
void registerFilters();

} // namespace espalier

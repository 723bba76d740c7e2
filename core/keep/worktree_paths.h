// SPDX-License-Identifier: MIT
//
// What moving a worktree from one commit to another touches, and whether anything of the user's stands in the way. Only
// looks. Private to core/keep.
//
//     auto moves = pathMoves(store, from, to);
//     auto free = checkPaths(handle, index, *moves);       // Refused, with the names
#pragma once

#include "core/git/handles.h"
#include "core/tree/differences.h"

#include <string>
#include <vector>

namespace espalier {

// What the trees of two commits differ in, in path order. Zero commits stand for nothing. Errors: Broken, Cancelled.
Result<std::vector<PathChange>> pathMoves(ObjectStore& store, const Oid& from, const Oid& to,
                                          const Progress& progress = {});

// Refused with the paths when one of them has local changes, staged or not, or when an untracked or ignored file would
// be overwritten; also when a commit holds a path that no worktree may have (isSafePath()). Submodules' own contents are never touched and therefore not looked at.
Result<void> checkPaths(git_repository* handle, git_index* index, const std::vector<PathChange>& moves);

// Whether git was told not to look at the file (skip-worktree, assume-unchanged). It may then be missing.
bool isUnwatched(const git_index_entry& entry);

// The move of `path`; null when there is none. `moves` is in path order.
const PathChange* findMove(const std::vector<PathChange>& moves, std::string_view path);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Moves the files of a worktree, and the index with them. What goes, goes first; then the attributes, by which the rest is
// written; then the rest. Private to core/keep.
//
//     auto session = WorktreeSession::begin(path);
//     checkPaths(session->handle(), session->index(), moves) … moveFiles(*session, moves, notices)
//     session->publish();
#pragma once

#include "core/keep/worktree_paths.h"
#include "core/keep/worktree_session.h"

#include <string>
#include <vector>

namespace espalier {

// The files of `moves`, which checkPaths() found free, to their new side; the session's index follows. When it fails, some
// files may have moved: finishFiles() takes them back. Errors: Storage; Refused when a file was changed just now.
Result<void> moveFiles(WorktreeSession& session, const std::vector<PathChange>& moves,
                       std::vector<std::string>& notices);

// After a crash or a failure: every file of `moves` that stands on either side, or was being written, goes to the new side
// (`forwards`) or back. What is neither is somebody's work since then: left alone, with a line in `notices`.
Result<void> finishFiles(WorktreeSession& session, const std::vector<PathChange>& moves, bool forwards,
                         std::vector<std::string>& notices);

} // namespace espalier

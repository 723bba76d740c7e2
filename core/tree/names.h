// SPDX-License-Identifier: MIT
//
// Names that a tree can hold and that no worktree may: those that lead out of a folder, and git's own folder in any of the
// spellings that some file system takes for it. Refused everywhere, since a worktree may lie on such a file system.
//
//     isSafeName("docs")               // true
//     isSafePath("docs/.GIT/config")   // false
#pragma once

#include <string_view>

namespace espalier {

// Of one folder. git's verify_path with core.protectHFS and core.protectNTFS (read-cache.c, path.c; common practice).
bool isSafeName(std::string_view name);
// From the root of a worktree, '/' between names; false for an empty one and for one that begins or ends with a slash.
bool isSafePath(std::string_view path);

} // namespace espalier

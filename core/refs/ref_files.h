// SPDX-License-Identifier: MIT
//
// How git keeps refs in files: one a ref, packed-refs for many, a log beside (gitrepository-layout(5), git-pack-refs(1)).
// Written here rather than by libgit2, whose locks are made before anybody could know that they are ours, and stay when the
// program is killed. Private to core.
//
//     auto packed = packedWithout(commonDir, {"refs/heads/gone"});
//     appendReflog(handle, "HEAD", before, after, "espalier: …");
#pragma once

#include "core/git/handles.h"

#include <filesystem>
#include <optional>
#include <set>
#include <string>

namespace espalier {

// The file of a ref: HEAD's in the worktree's git directory, all others' in the common one.
std::filesystem::path refFile(git_repository* handle, const std::string& name);

// The text of packed-refs without some refs; nothing when it holds none of them. Errors: Storage, Broken.
Result<std::optional<std::string>> packedWithout(const std::filesystem::path& commonDir,
                                                 const std::set<std::string>& names);

// A line at the end of the ref's log, where git would write one (core.logAllRefUpdates). Errors: Storage.
Result<void> appendReflog(git_repository* handle, const std::string& name, const Oid& before, const Oid& after,
                          const std::string& message);
// With the folders that it leaves empty. Errors: Storage.
Result<void> removeReflog(git_repository* handle, const std::string& name);

// Removes folders below `folder` and itself, as long as they hold nothing but folders. False when something is in them.
bool removeEmptyTree(const std::filesystem::path& folder);
// The folders above `path`, from the innermost, as long as they are empty, up to the folder that has `depth` parts below
// `root` and no further.
void removeEmptyAbove(const std::filesystem::path& root, const std::filesystem::path& path, int depth);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// libgit2 waits for ever for the rest of a loose object that has been cut off. This stands before its own reader of loose
// objects, in every repository that the program opens, and lets through only files that are whole. Private to core/git.
//
//     guardLooseObjects(handle);       // once, after opening
#pragma once

struct git_repository;

namespace espalier {

// Costs opening the object database, which libgit2 would do at the first look. Without memory nothing is guarded.
void guardLooseObjects(git_repository* repository);

} // namespace espalier

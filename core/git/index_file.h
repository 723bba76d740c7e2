// SPDX-License-Identifier: MIT
//
// Opening the index where libgit2 alone does not: an index in two files (git-update-index(1), "Split index") is put together
// by git, in a copy. Private to core.
//
//     Handle<git_index> index;
//     if (auto opened = openIndex(repository, index); !opened) …
#pragma once

#include "core/git/handles.h"

#include <filesystem>

namespace espalier {

// The index of the repository, which libgit2 uses for that handle from then on. The file itself stays as it is. Errors: Broken,
// Storage, Unsupported, each with what helps.
Result<void> openIndex(const Repository& repository, Handle<git_index>& index);

// Makes a copy of a split index whole, for git_index_open(); any other stays as it is. `gitDir` is where it was copied from.
Result<void> joinSplitIndex(const std::filesystem::path& gitDir, const std::filesystem::path& copy);

// After git_index_open() or git_index_read() has failed: why, and what helps.
std::unexpected<Error> indexError(const std::filesystem::path& gitDir);

} // namespace espalier

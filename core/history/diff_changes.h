// SPDX-License-Identifier: MIT
//
// From libgit2's differences to what is shown of a file. Private to core/history.
//
//     for (std::size_t at = 0; at < git_diff_num_deltas(diff); ++at)
//         if (auto change = changeOfDelta(repository, diff, at, options)) …
#pragma once

#include "core/git/handles.h"
#include "core/history/changes.h"

namespace espalier {

// Contents beyond this are not compared line by line, nor looked through for renames.
inline constexpr git_off_t biggestText = git_off_t(16) << 20;

// The `at`th file of the difference, which is looked into now. Errors: Broken (its contents cannot be read).
Result<FileChange> changeOfDelta(const Repository& repository, git_diff* diff, std::size_t at,
                                 const ChangesOptions& options);

} // namespace espalier

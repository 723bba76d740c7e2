// SPDX-License-Identifier: MIT
//
// A push into a repository on this disk, and a gc there between what came and the branch: git takes what nothing leads to yet for
// rubbish, moves the branch all the same and says yes. The branch then leads nowhere, and no later push brings what is missing,
// since git goes by the branch. Private to core/remotes.
//
//     auto whole = bringToFolder(repository, "/srv/fork.git", {tip}, progress);
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"

#include <filesystem>
#include <vector>

namespace espalier {

// What the tips need and the repository in that folder lacks is written there, as a pack of git's. Nothing to do when all tips are
// there, or when the folder cannot be looked into. Errors: Broken (git could not), Cancelled.
Result<void> bringToFolder(const Repository& repository, const std::filesystem::path& folder,
                           const std::vector<Oid>& tips, const Progress& progress);

} // namespace espalier

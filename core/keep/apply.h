// SPDX-License-Identifier: MIT
//
// The one place that moves branches and the worktree (DEVELOPERS.md, "Apply"). All checks come first; when one says no,
// nothing has happened. What follows is ordered so that a stop at any point can be completed or undone.
//
//     Result<Applied> applied = apply(repository, rewrite, progress);
#pragma once

#include "core/keep/logbook.h"
#include "core/replay/rewrite.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct Applied {
    LogbookEntry entry;               // no id: nothing was recorded, because nothing moved or nothing could be lost
    std::vector<std::string> notices; // e.g. a hook that failed, kept submodule folders
};

// With rewrite.sign the new commits are signed first: their ids then differ from the dry run's, and a notice says so.
// Refused, with the reason and the file names, when: a branch moved since the dry run, git has something in progress, a
// branch is checked out in another worktree, or local changes or untracked files would be overwritten.
Result<Applied> apply(const Repository& repository, const Rewrite& rewrite, const Progress& progress = {});

// Moves refs (and the worktree with the checked-out branch) to where an entry's old tips stood. Refused when a ref no
// longer stands where the entry left it, unless `evenIfMoved`: then what stands there now is kept by the new entry.
// A push is restored by a lease on the remote, see remotes/push.h.
Result<Applied> restore(const Repository& repository, const std::string& entryId, bool evenIfMoved = false,
                        const Progress& progress = {});

// Moves and deletes refs that no worktree checks out, all or none, as one entry: what a fetch takes away or replaces.
Result<Applied> moveTracking(const Repository& repository, const std::string& title, const std::vector<RefMove>& moves);

// Branch keeping, each an entry of the logbook where something could be lost. Names without refs/heads/.
Result<Applied> checkOut(const Repository& repository, const std::string& branch, const Progress& progress = {});
Result<Applied> checkOutDetached(const Repository& repository, const Oid& commit, const Progress& progress = {});
Result<Applied> createBranch(const Repository& repository, const std::string& branch, const Oid& at, bool checkItOut);
Result<Applied> renameBranch(const Repository& repository, const std::string& from, const std::string& to);
// Refused when the branch no longer stands at `expect`, where one is given.
Result<Applied> deleteBranch(const Repository& repository, const std::string& branch,
                             const std::optional<Oid>& expect = {});
// Moves a branch that is not rewritten, e.g. fast-forwards; refused when it is no fast-forward.
Result<Applied> fastForward(const Repository& repository, const std::string& branch, const Oid& to,
                            const Progress& progress = {});
// Puts the main line's own commits on a new topic branch and the main line back onto `to`.
Result<Applied> moveToTopic(const Repository& repository, const std::string& mainBranch, const std::string& newTopic,
                            const Oid& to, const Progress& progress = {});

} // namespace espalier

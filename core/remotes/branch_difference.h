// SPDX-License-Identifier: MIT
//
// What a push changes on the fork for whoever reviews the branch: all that the new version does differently from the old
// one, without what the upstream did meanwhile.
//
// The old version is carried to the new one's base as one change: a three-way merge of trees, with the place where it left
// the upstream as the common ancestor, the new base on one side and the old tip on the other. What comes out is the branch as
// it would be had nobody touched it, and what leads from there to the new tip is what is new in it. Source: git-merge-tree(1),
// whose `--write-tree --merge-base=OLD-BASE NEW-BASE OLD-TIP` makes that tree; that a merge is made anew so as to be compared
// with what a person made of it is common practice (`--remerge-diff` of git-log(1)).
//
//     Result<BranchDifference> difference = branchDifference(repository, *check, progress);
//     if (difference->changes.files.empty() && difference->conflicts.empty()) … // nothing but the upstream's own changes
#pragma once

#include "core/history/changes.h"
#include "core/remotes/overwrite_check.h"

#include <string>
#include <vector>

namespace espalier {

struct BranchDifference {
    // Where the two versions stand, both the upstream's; zero ids where there is none.
    CommitSummary oldBase, newBase;
    std::size_t upstreamCommits = 0; // that the new base has and the old one has not
    // Paths at which the old version does not go onto the new base by itself. Where both changed the same lines, `changes` has
    // markers for what it would be; where one deleted or renamed what the other changed, the path is not in `changes`.
    std::vector<std::string> conflicts;
    Changes changes; // no renames among them
};

// Nothing is written. Of a check of the same version twice all is empty, of one without an old version all but the new base.
// Errors: Broken, Cancelled.
Result<BranchDifference> branchDifference(const Repository& repository, const OverwriteCheck& check,
                                          const Progress& progress = {});
// "nothing differs", "3 files differ, 12 lines added, 4 deleted, 1 path in conflict": for a sentence.
std::string differenceWords(const BranchDifference& difference);

} // namespace espalier

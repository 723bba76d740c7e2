// SPDX-License-Identifier: MIT
//
// A dry run that is ready to be applied: the objects to write and the refs to move. Making one changes nothing.
#pragma once

#include "core/refs/ref_move.h"
#include "core/replay/dry_run.h"

#include <memory>
#include <string>
#include <vector>

namespace espalier {

struct Rewrite {
    std::string title;                      // "Replay topic/x onto upstream/main", for logbook and reflog
    std::string onto;                       // the new base as people name it, for the pre-rebase hook
    std::vector<RefMove> moves;             // the branch first
    std::vector<std::pair<Oid, Oid>> pairs; // old commit, new commit (for notes, post-rewrite and the walkthrough)
    std::shared_ptr<const NewObjects> objects;
    bool sign = false;
};

// Errors: Refused when something is undecided or the plan names no branch.
Result<Rewrite> makeRewrite(const DryRun& run);

} // namespace espalier

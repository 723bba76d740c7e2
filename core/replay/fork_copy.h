// SPDX-License-Identifier: MIT
//
// How the fork's branch of the same name stands to the outcome of a dry run: what a push would replace there once the
// outcome is applied. The answer is that of pairVersions(), which the drift board and the overwrite check ask too.
//
//     auto copy = forkCopyOf(repository, *snapshot, run, progress);
//     if (copy->exists && !copy->fastForwards) … copy->replacement.line() …
#pragma once

#include "core/history/versions.h"
#include "core/replay/dry_run.h"

namespace espalier {

struct ForkCopy {
    bool known = false; // a fork is set, and the plan names a branch
    bool exists = false;
    // What the outcome replaces. While something is undecided a commit that is carried stands for its new version.
    Replacement replacement;
    bool fastForwards = false; // a plain push will do
    bool onUpstream = false;   // a branch of upstream reaches planned commits
    bool isMainLine = false;
};
// `run` as dryRun(repository, …) made it, of `snapshot`. Errors: those of reading commits; Cancelled.
Result<ForkCopy> forkCopyOf(const Repository& repository, const Snapshot& snapshot, const DryRun& run,
                            const Progress& progress = {});

} // namespace espalier

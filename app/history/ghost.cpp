// SPDX-License-Identifier: MIT
#include "app/history/ghost.h"

#include "app/support/text.h"

namespace espalier {

ReplayGhost ghostOf(const DryRun& run)
{
    ReplayGhost ghost{run.plan.onto, toText(run.plan.label), {}};
    for (const ReplayedCommit& commit : run.commits) {
        const bool stays = commit.treatment == Treatment::Carry && commit.outcome != Outcome::Landed &&
                           commit.outcome != Outcome::Empty;
        if (stays)
            ghost.commits.append({commit.id, toText(commit.subject), commit.outcome});
    }
    return ghost;
}

} // namespace espalier

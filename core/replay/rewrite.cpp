// SPDX-License-Identifier: MIT
#include "core/replay/rewrite.h"

#include "core/git/text.h"

namespace espalier {

Result<Rewrite> makeRewrite(const DryRun& run)
{
    if (run.plan.branch.empty())
        return fail(ErrorKind::Refused, "The replay moves no branch", run.plan.label, "Start it from a branch");
    if (!run.clean || !run.newTip)
        return fail(ErrorKind::Refused,
                    "The replay has " + counted(run.undecided(), "undecided hunk", "undecided hunks"), run.plan.label,
                    "Settle the conflicts first");
    if (!run.objects)
        return fail(ErrorKind::Usage, "The dry run was made without its objects", run.plan.label, "Make it again");
    Rewrite rewrite;
    rewrite.onto = run.plan.ontoLabel.empty() ? run.plan.onto.brief() : run.plan.ontoLabel;
    rewrite.title = displayText("Replay " + run.plan.label + " onto " + rewrite.onto);
    rewrite.moves.push_back({run.plan.branch, run.plan.tip, *run.newTip});
    for (std::size_t i = 0; i < run.stackedTips.size(); ++i) {
        const auto& [branch, tip] = run.stackedTips[i];
        rewrite.moves.push_back({branch, run.plan.stacked[i].tip, tip});
    }
    for (const ReplayedCommit& commit : run.commits)
        if (commit.newId && *commit.newId != commit.id)
            rewrite.pairs.emplace_back(commit.id, *commit.newId);
    rewrite.objects = run.objects;
    rewrite.sign = run.plan.sign;
    return rewrite;
}

} // namespace espalier

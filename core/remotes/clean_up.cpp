// SPDX-License-Identifier: MIT
#include "core/remotes/clean_up.h"

#include "core/git/text.h"

namespace espalier {

Result<std::vector<CleanUpCandidate>> findCleanUp(const Repository& repository, const SnapshotPtr& snapshot,
                                                  const Progress& progress)
{
    std::vector<CleanUpCandidate> candidates;
    const Ref* mainLine = snapshot->mainLineRef();
    if (!mainLine)
        return candidates;
    std::vector<int> branches;
    for (std::size_t i = 0; i < snapshot->refs.size(); ++i) {
        const Ref& ref = snapshot->refs[i];
        // A branch at the main line's very tip has nothing that could have landed: it was just begun, or is the main line.
        if (ref.kind == RefKind::Branch && ref.row != noRow && ref.tip != mainLine->tip &&
            ref.branch != mainLine->branch)
            branches.push_back(int(i));
    }
    const auto consider = [&](int index, const Forecast& forecast) {
        const Ref& ref = snapshot->refs[std::size_t(index)];
        if (!forecast.wholly())
            return;
        CleanUpCandidate candidate;
        candidate.branch = ref.branch;
        candidate.tip = ref.tip;
        candidate.landed = forecast;
        if (const Ref* fork = snapshot->forkCopy(ref.branch))
            candidate.forkTip = fork->tip;
        candidate.checkedOut =
            ref.name == snapshot->worktree.headBranch || snapshot->worktree.checkedOutElsewhere.contains(ref.name);
        candidates.push_back(std::move(candidate));
    };
    if (branches.empty())
        return candidates;
    if (auto done = forecasts(repository, *snapshot, branches, consider, progress); !done)
        return std::unexpected(done.error());
    return candidates;
}

Result<std::vector<LogbookEntry>> cleanUp(const Repository& repository, const CleanUpCandidate& candidate,
                                          bool alsoFork, const Access& access, const Progress& progress)
{
    std::vector<LogbookEntry> entries;
    auto deleted = deleteBranch(repository, candidate.branch, candidate.tip);
    if (!deleted)
        return std::unexpected(deleted.error());
    entries.push_back(std::move(deleted->entry));
    if (!alsoFork || !candidate.forkTip)
        return entries;
    const std::string fork = guessRoles(repository, readRemotes(repository)).fork;
    auto gone = deleteRemoteBranch(repository, fork, candidate.branch, *candidate.forkTip, access, progress);
    if (!gone) {
        Error error = gone.error();
        error.remedy += (error.remedy.empty() ? "" : ". ") +
                        std::string("In the clone the branch is deleted already; entry ") + entries.front().id +
                        " of the logbook brings it back";
        return std::unexpected(std::move(error));
    }
    if (!gone->entry.id.empty())
        entries.push_back(std::move(gone->entry));
    return entries;
}

} // namespace espalier

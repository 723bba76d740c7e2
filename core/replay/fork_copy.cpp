// SPDX-License-Identifier: MIT
#include "core/replay/fork_copy.h"

#include <algorithm>

namespace espalier {

namespace {

// The outcome's commits, newest first, without those that the fork's branch reaches.
std::vector<Oid> outcomeOf(const Snapshot& snapshot, const DryRun& run, Row fork)
{
    std::vector<Oid> ids;
    for (const ReplayedCommit& commit : run.commits) {
        const bool gone = commit.treatment == Treatment::LeaveOut || commit.outcome == Outcome::Landed ||
                          commit.outcome == Outcome::Empty;
        const Oid id = commit.newId.value_or(commit.id);
        if (gone || std::ranges::contains(ids, id))
            continue;
        const Row row = commit.newId ? snapshot.history.find(id) : noRow;
        if (row == noRow || !snapshot.history.isAncestor(row, fork))
            ids.push_back(id);
    }
    std::ranges::reverse(ids);
    return ids;
}

Result<Replacement> replacedBy(const Repository& repository, const Snapshot& snapshot, const DryRun& run, Row fork,
                               Row onto, const Progress& progress)
{
    VersionIds ids = versionIds(snapshot, fork, onto);
    std::vector<Oid> now = outcomeOf(snapshot, run, fork);
    now.insert(now.end(), ids.now.begin(), ids.now.end());
    ids.now = std::move(now);
    // What the outcome leaves as it is stays on the fork too.
    for (const ReplayedCommit& commit : run.commits)
        if (commit.newId == commit.id)
            std::erase(ids.before, commit.id);
    ObjectStore store(repository);
    if (run.objects)
        store.replaceNewObjects(*run.objects);
    EquivalenceCache cache;
    return pairVersions(store, ids, cache, progress).transform([&](const std::vector<VersionPair>& pairs) {
        return replacementOf(pairs, addressesOfUser(repository));
    });
}

// Whether the outcome reaches all that the fork's branch does; whose commits they are makes no difference to a push.
bool reachesAll(const History& history, const DryRun& run, Row fork, Row onto)
{
    const auto stays = [&](Row row) {
        return std::ranges::any_of(run.commits, [&](const ReplayedCommit& commit) {
            return commit.newId == commit.id && commit.id == history.id(row);
        });
    };
    return std::ranges::all_of(history.onlyIn(fork, onto), stays);
}

} // namespace

Result<ForkCopy> forkCopyOf(const Repository& repository, const Snapshot& snapshot, const DryRun& run,
                            const Progress& progress)
{
    ForkCopy copy;
    const Ref* branch = run.plan.branch.empty() ? nullptr : snapshot.findRef(run.plan.branch);
    copy.known = branch && !snapshot.roles.fork.empty();
    if (!branch)
        return copy;
    const Ref* main = snapshot.mainLineRef();
    copy.isMainLine = main && (main == branch || main->branch == branch->branch);
    if (!snapshot.roles.oneForBoth())
        for (const ReplayedCommit& commit : run.commits)
            if (const Row row = snapshot.history.find(commit.id); row != noRow)
                copy.onUpstream |= (snapshot.placesOf(row) & placeBit(Place::Upstream)) != 0;
    const Ref* fork = snapshot.forkCopy(branch->branch);
    const Row onto = snapshot.history.find(run.plan.onto);
    copy.exists = fork && fork->row != noRow;
    copy.fastForwards = true;
    if (!copy.exists || onto == noRow)
        return copy;
    auto replaced = replacedBy(repository, snapshot, run, fork->row, onto, progress);
    if (!replaced)
        return std::unexpected(replaced.error());
    copy.replacement = std::move(*replaced);
    copy.fastForwards = reachesAll(snapshot.history, run, fork->row, onto);
    return copy;
}

} // namespace espalier

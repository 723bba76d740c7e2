// SPDX-License-Identifier: MIT
#include "core/remotes/branch_difference.h"

#include "core/git/commit.h"
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/merge/tree_merge.h"
#include "core/remotes/fetching.h"

#include <set>

namespace espalier {

namespace {

Result<CommitSummary> summaryOrNothing(ObjectStore& store, const Oid& commit)
{
    return commit.isZero() ? CommitSummary() : summaryOf(store, commit);
}

std::size_t commitsBetween(const Repository& repository, const Oid& below, const Oid& above)
{
    const git_oid one = toGit(above), other = toGit(below);
    std::size_t ahead = 0, behind = 0;
    if (above.isZero() || below.isZero() || git_graph_ahead_behind(&ahead, &behind, raw(repository), &one, &other) < 0)
        return 0;
    return ahead;
}

// The tree of the old version on the new base; conflicts in marker form, their paths in `difference`. `undecided`: where one
// is about the whole path, so that what stands there in the meantime tells nothing.
Result<Oid> carried(ObjectStore& store, const OverwriteCheck& check, BranchDifference& difference,
                    std::set<std::string>& undecided, const Progress& progress)
{
    const auto oldTree = treeOf(store, check.remoteTip);
    if (!oldTree || difference.oldBase.id == difference.newBase.id)
        return oldTree; // it stands there already
    auto oldBase = treeOf(store, difference.oldBase.id), newBase = treeOf(store, difference.newBase.id);
    if (!oldBase || !newBase)
        return oldBase ? newBase : oldBase;
    const Oid nothing = store.add(ObjectType::Tree, {});
    MergeOptions options = MergeOptions::of(store.repository());
    options.commitLabel = "the fork's version";
    MergeCaches caches;
    const auto merge = mergeTrees(store, oldBase->isZero() ? nothing : *oldBase, newBase->isZero() ? nothing : *newBase,
                                  *oldTree, options, caches, progress);
    if (!merge)
        return std::unexpected(merge.error());
    for (const PathConflict& conflict : merge->conflicts) {
        difference.conflicts.push_back(conflict.path);
        if (conflict.wholePath())
            undecided.insert(conflict.path);
    }
    return merge->tree;
}

} // namespace

Result<BranchDifference> branchDifference(const Repository& repository, const OverwriteCheck& check,
                                          const Progress& progress)
{
    BranchDifference difference;
    if (check.upToDate)
        return difference;
    ObjectStore store(repository);
    const bool isNew = check.remoteTip.isZero();
    const Oid newBase =
        check.newBase.isZero() && !isNew ? mergeBase(repository, check.remoteTip, check.localTip) : check.newBase;
    const Oid oldBase = newBase.isZero() || isNew ? Oid() : mergeBase(repository, check.remoteTip, newBase);
    auto before = summaryOrNothing(store, oldBase), now = summaryOrNothing(store, newBase);
    if (!before || !now)
        return std::unexpected(before ? now.error() : before.error());
    difference.oldBase = std::move(*before);
    difference.newBase = std::move(*now);
    if (isNew)
        return difference;
    difference.upstreamCommits = commitsBetween(repository, oldBase, newBase);
    progress.report("Carrying the fork's version to the new base");
    std::set<std::string> undecided;
    const auto from = carried(store, check, difference, undecided, progress);
    if (!from)
        return std::unexpected(from.error());
    const auto to = treeOf(store, check.localTip);
    if (!to)
        return std::unexpected(to.error());
    auto changes = changesOfTrees(store, *from, *to, {}, progress);
    if (!changes)
        return std::unexpected(changes.error());
    std::erase_if(changes->files, [&](const FileChange& file) {
        if (!undecided.contains(file.newPath))
            return false;
        changes->added -= file.added;
        changes->deleted -= file.deleted;
        return true;
    });
    difference.changes = std::move(*changes);
    return difference;
}

std::string differenceWords(const BranchDifference& difference)
{
    const Changes& changes = difference.changes;
    std::string words = "nothing differs";
    if (!changes.files.empty())
        words = (changes.truncated ? "more than " : "") +
                counted(changes.files.size(), "file differs", "files differ") + ", " +
                counted(changes.added, "line added", "lines added") + ", " + std::to_string(changes.deleted) +
                " deleted";
    if (!difference.conflicts.empty())
        words += ", " + counted(difference.conflicts.size(), "path", "paths") + " in conflict";
    return words;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Merge commits that are kept. What a merge commit holds beyond what merging gives by itself (settled hunks, changes
// made in it) is the difference between the automatic merge of its old parents and its tree; that difference is carried
// onto the automatic merge of its new parents. Where both automatic merges conflict in the same places, the old
// settlement is thereby used again.
#include "core/replay/replayer.h"

#include <algorithm>

namespace espalier {

namespace {

const PathConflict* conflictAt(const TreeMerge& merge, const std::string& path)
{
    const auto at = std::ranges::find(merge.conflicts, path, &PathConflict::path);
    return at == merge.conflicts.end() ? nullptr : &*at;
}

// The conflicts of the new merge that the old one did not have, and that its settled content therefore cannot answer.
void keepOnlyNewConflicts(TreeMerge& now, const TreeMerge& then)
{
    std::erase_if(now.conflicts, [&](const PathConflict& conflict) {
        const PathConflict* before = conflictAt(then, conflict.path);
        return before && before->kind == conflict.kind && before->hunks.size() == conflict.hunks.size();
    });
}

} // namespace

Result<TreeMerge> Replayer::mergeOf(const Position& first, const Position& second)
{
    const auto ways = m_caches.commits.divergence(m_store, first.id, second.id, m_progress);
    if (!ways)
        return std::unexpected(ways.error());
    const auto& bases = ways->mergeBases;
    auto base = bases.empty() ? Result<Oid>(*Oid::parse(emptyTreeHex)) : treeOf(m_store, bases.front());
    if (!base)
        return std::unexpected(base.error());
    return mergeTrees(m_store, *base, first.tree, second.tree, m_caches.merge, m_caches.merges, m_progress);
}

auto Replayer::mergeAgain(std::size_t index, const Commit& commit, const std::vector<Position>& parents)
    -> Result<Merged>
{
    const auto firstTree = treeOf(m_store, commit.parents[0]);
    const auto secondTree = treeOf(m_store, commit.parents[1]);
    if (!firstTree || !secondTree)
        return std::unexpected(firstTree ? secondTree.error() : firstTree.error());
    // Without ids there is no merge base, and an octopus has no automatic merge of two: what the merge brings to its
    // first parent is carried like a commit.
    const bool known = std::ranges::all_of(parents, &Position::known);
    if (!known || parents.size() != 2)
        return mergeOnto(index, commit, *firstTree, parents.front());
    const auto then =
        mergeOf({commit.parents[0], *firstTree, true, nullptr}, {commit.parents[1], *secondTree, true, nullptr});
    auto now = mergeOf(parents[0], parents[1]);
    if (!then || !now)
        return std::unexpected(then ? now.error() : then.error());
    // The same on both sides: every conflict as its second parent has it, unless the user has decided otherwise.
    const auto thenHeld = settle(m_store, {{}, *firstTree, *firstTree, *secondTree, index}, *then, {}, {});
    TreeMerge fresh = *now;
    keepOnlyNewConflicts(fresh, *then);
    const auto allHeld = settle(m_store, {{}, *firstTree, parents[0].tree, parents[1].tree, index}, *now, {}, {});
    if (!thenHeld || !allHeld)
        return std::unexpected(thenHeld ? allHeld.error() : thenHeld.error());
    fresh.tree = allHeld->tree;
    auto decided =
        settle(m_store, {commit.id, *firstTree, parents[0].tree, parents[1].tree, index}, fresh, m_settlements, {});
    if (!decided)
        return std::unexpected(decided.error());
    const auto carried =
        mergeTrees(m_store, thenHeld->tree, decided->tree, commit.tree, m_caches.merge, m_caches.merges, m_progress);
    if (!carried)
        return std::unexpected(carried.error());
    auto settled = settle(m_store, {commit.id, thenHeld->tree, decided->tree, commit.tree, index, true}, *carried,
                          m_settlements, decided->held);
    if (!settled)
        return std::unexpected(settled.error());
    std::erase(settled->dependsOn, index); // on itself
    // Where the sides meet comes first: what is decided there is what the commit's own change meets.
    settled->conflicts.insert(settled->conflicts.begin(), std::make_move_iterator(decided->conflicts.begin()),
                              std::make_move_iterator(decided->conflicts.end()));
    const Oid tree = settled->tree;
    std::vector<NotAsGit> notAsGit = now->notAsGit;
    notAsGit.insert(notAsGit.end(), carried->notAsGit.begin(), carried->notAsGit.end());
    return Merged{tree, std::move(*settled), false, std::move(notAsGit)};
}

Result<void> Replayer::replayMerge(std::size_t index, const Commit& commit)
{
    std::vector<Position> parents;
    bool known = true, same = true;
    for (const Oid& parent : commit.parents) {
        auto position = positionBelow(parent);
        if (!position)
            return std::unexpected(position.error());
        known &= position->known;
        same &= position->known && position->id == parent;
        parents.push_back(std::move(*position));
    }
    if (same && !m_plan.commits[index].newMessage) {
        m_run.commits[index].newBaseTree = parents.front().tree;
        m_run.commits[index].newParent = parents.front().id;
        setUnchanged(index, commit);
        return {};
    }
    auto merged = mergeAgain(index, commit, parents);
    if (!merged)
        return std::unexpected(merged.error());
    take(index, *merged, parents.front());
    // All of a side branch is gone, or has landed: nothing is left to merge.
    const bool oneLine =
        known && std::ranges::all_of(parents, [&](const Position& parent) { return parent.id == parents.front().id; });
    if (oneLine && !merged->settled.open() && merged->tree == parents.front().tree) {
        m_run.commits[index].outcome = Outcome::Empty;
        setPosition(index, parents.front());
        return {};
    }
    std::vector<Oid> ids;
    for (const Position& parent : parents)
        if (!std::ranges::contains(ids, parent.id))
            ids.push_back(parent.id);
    write(index, *merged, std::move(ids), known, commit);
    return {};
}

} // namespace espalier

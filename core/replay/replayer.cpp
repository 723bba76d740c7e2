// SPDX-License-Identifier: MIT
#include "core/replay/replayer.h"

#include "core/tree/differences.h"

#include <algorithm>

namespace espalier {

namespace {

Oid emptyTree() { return *Oid::parse(emptyTreeHex); }

const Held& heldOf(const Position& position)
{
    static const Held nothing;
    return position.held ? *position.held : nothing;
}

std::shared_ptr<const Held> shared(Held held)
{
    return held.empty() ? nullptr : std::make_shared<const Held>(std::move(held));
}

} // namespace

void appendMessage(Commit& into, const Commit& folded)
{
    into.toUtf8();
    Commit more = folded;
    more.toUtf8();
    while (!into.message.empty() && into.message.back() == '\n')
        into.message.pop_back();
    into.message += into.message.empty() ? "" : "\n\n";
    into.message += more.message;
}

bool dropStaleHeaders(Commit& commit)
{
    std::erase_if(commit.otherHeaders, [](const auto& header) {
        return header.first == "gpgsig" || header.first == "gpgsig-sha256" || header.first == "mergetag";
    });
    return std::exchange(commit.isSigned, false);
}

Replayer::Replayer(ObjectStore& store, ReplayCaches& caches, const Plan& plan, const Settlements& settlements,
                   const Progress& progress, bool wantFiles)
    : m_store(store)
    , m_caches(caches)
    , m_plan(plan)
    , m_settlements(settlements)
    , m_progress(progress)
    , m_wantFiles(wantFiles)
    , m_keepMerges(std::ranges::any_of(plan.commits, &PlannedCommit::isMerge))
    , m_landed(store, caches, plan)
{
    m_run.plan = plan;
}

Result<DryRun> Replayer::run()
{
    const auto ontoTree = treeOf(m_store, m_plan.onto);
    if (!ontoTree)
        return std::unexpected(ontoTree.error());
    m_onto = m_current = {m_plan.onto, *ontoTree, true, nullptr};
    for (std::size_t i = 0; i < m_plan.commits.size(); ++i) {
        if (m_progress.stopped())
            return cancelled();
        m_progress.report("Replaying", i, m_plan.commits.size());
        if (auto done = replay(i); !done)
            return std::unexpected(done.error());
    }
    finish();
    if (auto done = lookForSquash(); !done)
        return std::unexpected(done.error());
    return std::move(m_run);
}

Result<void> Replayer::replay(std::size_t index)
{
    const PlannedCommit& planned = m_plan.commits[index];
    const auto commit = readCommit(m_store, planned.id);
    if (!commit)
        return std::unexpected(commit.error());
    ReplayedCommit& replayed = m_run.commits.emplace_back();
    replayed.id = planned.id;
    replayed.subject = planned.subject;
    replayed.treatment = planned.treatment;
    if (m_wantFiles) {
        const auto parentTree =
            commit->parents.empty() ? Result<Oid>(emptyTree()) : treeOf(m_store, commit->parents.front());
        if (!parentTree)
            return std::unexpected(parentTree.error());
        auto files = changedPaths(m_store, *parentTree, commit->tree);
        if (!files)
            return std::unexpected(files.error());
        replayed.files = std::move(*files);
    }
    if (commit->parents.size() > 1 && planned.treatment == Treatment::Carry)
        return replayMerge(index, *commit);
    return replayPlain(index, *commit);
}

// Merges kept: where the commit's own parent went. Else every commit stands on the one before.
Result<Position> Replayer::positionFor(const Commit& commit)
{
    if (!m_keepMerges)
        return m_current;
    return positionBelow(commit.parents.empty() ? Oid{} : commit.parents.front());
}

Result<Position> Replayer::positionBelow(const Oid& parent)
{
    if (const auto at = m_positions.find(parent); at != m_positions.end())
        return at->second;
    if (parent == m_plan.below || parent.isZero())
        return m_onto;
    // A side branch that leaves the trunk elsewhere keeps its own base.
    const auto tree = treeOf(m_store, parent);
    if (!tree)
        return std::unexpected(tree.error());
    return Position{parent, *tree, true, nullptr};
}

void Replayer::setPosition(std::size_t index, Position position)
{
    if (m_keepMerges)
        m_positions[m_plan.commits[index].id] = position;
    m_current = std::move(position);
}

void Replayer::setUnchanged(std::size_t index, const Commit& commit)
{
    ReplayedCommit& replayed = m_run.commits[index];
    replayed.outcome = Outcome::Unchanged;
    replayed.newId = commit.id;
    replayed.newTree = commit.tree;
    m_group = Group{{index}, commit};
    setPosition(index, {commit.id, commit.tree, true, nullptr});
}

Result<void> Replayer::replayPlain(std::size_t index, const Commit& commit)
{
    const PlannedCommit& planned = m_plan.commits[index];
    const auto onto = positionFor(commit);
    if (!onto)
        return std::unexpected(onto.error());
    ReplayedCommit& replayed = m_run.commits[index];
    replayed.newBaseTree = onto->tree;
    replayed.newParent = onto->id;
    if (planned.treatment == Treatment::LeaveOut) {
        setPosition(index, *onto);
        return {};
    }
    const bool folded = planned.treatment != Treatment::Carry && m_group;
    const bool standsThere = onto->known && commit.parents.size() == 1 && commit.parents.front() == onto->id;
    if (!folded && standsThere && !planned.newMessage) {
        setUnchanged(index, commit);
        return {};
    }
    const auto parentTree = commit.parents.empty() ? Result<Oid>(emptyTree()) : treeOf(m_store, commit.parents.front());
    if (!parentTree)
        return std::unexpected(parentTree.error());
    auto merged = mergeOnto(index, commit, *parentTree, *onto);
    if (!merged)
        return std::unexpected(merged.error());
    take(index, *merged, *onto);
    const bool carriesMessage = planned.treatment == Treatment::Fold && folded;
    const bool nothingLeft = !merged->settled.open() && merged->tree == onto->tree && commit.tree != *parentTree;
    if (merged->landed || (nothingLeft && !carriesMessage)) {
        replayed.outcome = merged->landed ? Outcome::Landed : Outcome::Empty;
        if (!folded)
            m_group.reset(); // what was to be folded into it stands for itself
        setPosition(index, {onto->id, onto->tree, onto->known, onto->held});
    } else if (folded) {
        fold(index, *merged, commit);
    } else {
        std::vector<Oid> parents{onto->id};
        write(index, *merged, std::move(parents), onto->known, commit);
    }
    return {};
}

// The conflicts, dependencies and outcome of a merge go into the record of its commit.
void Replayer::take(std::size_t index, const Merged& merged, const Position& onto)
{
    ReplayedCommit& replayed = m_run.commits[index];
    replayed.newBaseTree = onto.tree;
    replayed.newParent = onto.id;
    if (merged.landed)
        return;
    replayed.conflicts = merged.settled.conflicts;
    replayed.dependsOn = merged.settled.dependsOn;
    replayed.notAsGit = merged.notAsGit;
    replayed.outcome = merged.settled.open() ? Outcome::Conflict : Outcome::Clean;
}

auto Replayer::mergeOnto(std::size_t index, const Commit& commit, const Oid& parentTree, const Position& onto)
    -> Result<Merged>
{
    Merged merged;
    if (parentTree == onto.tree) {
        merged.tree = commit.tree;
        if (!onto.held)
            return merged;
    }
    const auto merge =
        mergeTrees(m_store, parentTree, onto.tree, commit.tree, m_caches.merge, m_caches.merges, m_progress);
    if (!merge)
        return std::unexpected(merge.error());
    if (m_plan.detectLanded && m_plan.commits[index].treatment == Treatment::Carry && commit.parents.size() < 2 &&
        commit.tree != parentTree) {
        const auto possible = m_landed.possible(*merge, onto.tree);
        if (!possible)
            return std::unexpected(possible.error());
        const auto landedAs = *possible ? m_landed.find(commit.id, m_progress) : Result<std::optional<Oid>>();
        if (!landedAs)
            return std::unexpected(landedAs.error());
        if (*landedAs) {
            m_run.commits[index].landedAs = *landedAs;
            merged.landed = true;
            merged.tree = onto.tree;
            return merged;
        }
    }
    merged.notAsGit = merge->notAsGit;
    if (merge->clean() && !onto.held) {
        merged.tree = merge->tree;
        return merged;
    }
    auto settled =
        settle(m_store, {commit.id, parentTree, onto.tree, commit.tree, index}, *merge, m_settlements, heldOf(onto));
    if (!settled)
        return std::unexpected(settled.error());
    merged.settled = std::move(*settled);
    merged.tree = merged.settled.tree;
    return merged;
}

void Replayer::write(std::size_t index, const Merged& merged, std::vector<Oid> parents, bool parentsKnown,
                     Commit commit)
{
    ReplayedCommit& replayed = m_run.commits[index];
    const PlannedCommit& planned = m_plan.commits[index];
    // Committer and new message are in UTF-8, so all of it is: as git writes a commit that it carries.
    commit.toUtf8();
    commit.parents = std::move(parents);
    commit.tree = merged.tree;
    commit.committer = m_plan.committer;
    replayed.losesSignature = dropStaleHeaders(commit) && !m_plan.sign;
    if (planned.newMessage)
        commit.message = *planned.newMessage;
    m_group = Group{{index}, commit};
    Position next{{}, merged.tree, false, shared(merged.settled.held)};
    if (parentsKnown && !merged.settled.open()) {
        next.id = m_store.add(ObjectType::Commit, formatCommit(commit));
        next.known = true;
        replayed.newId = next.id;
        replayed.newTree = merged.tree;
    }
    setPosition(index, std::move(next));
}

// The commit that it goes into is written anew; nobody has seen the one it replaces.
void Replayer::fold(std::size_t index, const Merged& merged, const Commit& commit)
{
    const PlannedCommit& planned = m_plan.commits[index];
    const bool known = m_current.known && !merged.settled.open();
    Commit& into = m_group->commit;
    into.toUtf8();
    into.tree = merged.tree;
    into.committer = m_plan.committer;
    const bool lost = dropStaleHeaders(into);
    if (planned.treatment == Treatment::Fold) {
        Commit more = commit;
        more.toUtf8(); // a new message is in UTF-8
        if (planned.newMessage)
            more.message = *planned.newMessage;
        appendMessage(into, more);
    }
    ReplayedCommit& head = m_run.commits[m_group->members.front()];
    head.losesSignature |= lost && !m_plan.sign;
    if (head.outcome == Outcome::Unchanged)
        head.outcome = Outcome::Clean;
    m_run.commits[index].losesSignature = commit.isSigned && !m_plan.sign;
    m_group->members.push_back(index);
    Position next{{}, merged.tree, false, shared(merged.settled.held)};
    if (known) {
        next.id = m_store.add(ObjectType::Commit, formatCommit(into));
        next.known = true;
    }
    for (const std::size_t member : m_group->members) {
        m_run.commits[member].newId = known ? std::optional(next.id) : std::nullopt;
        m_run.commits[member].newTree = known ? std::optional(merged.tree) : std::nullopt;
        if (m_keepMerges)
            m_positions[m_plan.commits[member].id] = next;
    }
    setPosition(index, std::move(next));
}

void Replayer::finish()
{
    const bool undecided = std::ranges::any_of(
        m_run.commits, [](const ReplayedCommit& commit) { return commit.outcome == Outcome::Conflict; });
    m_run.clean = !undecided && m_current.known;
    if (!m_run.clean)
        return;
    m_run.newTip = m_current.id;
    m_run.newTree = m_current.tree;
    for (const StackedBranch& stacked : m_plan.stacked) {
        Oid below = m_plan.onto;
        for (const ReplayedCommit& commit : m_run.commits) {
            if (m_keepMerges && commit.id == stacked.tip)
                below = m_positions[commit.id].id;
            else if (!m_keepMerges && commit.newId)
                below = *commit.newId;
            if (commit.id == stacked.tip)
                break;
        }
        m_run.stackedTips.emplace_back(stacked.ref, below);
    }
}

// The whole topic as one commit of the new base's side. Only where the replay leaves room for it, see LandedSearch.
Result<void> Replayer::lookForSquash()
{
    const bool edited = std::ranges::any_of(m_plan.commits, [](const PlannedCommit& commit) {
        return commit.treatment != Treatment::Carry || commit.newMessage || commit.isMerge;
    });
    const bool allLanded = std::ranges::all_of(
        m_run.commits, [](const ReplayedCommit& commit) { return commit.outcome == Outcome::Landed; });
    if (!m_plan.detectLanded || edited || allLanded || m_run.commits.size() < 2 || m_plan.changeFrom.isZero() ||
        m_plan.mergeBase == m_plan.onto || (m_run.clean && m_current.tree != m_onto.tree))
        return {};
    const auto belowTree = treeOf(m_store, m_plan.changeFrom);
    const auto tipTree = treeOf(m_store, m_plan.tip);
    if (!belowTree || !tipTree)
        return std::unexpected(belowTree ? tipTree.error() : belowTree.error());
    if (!m_run.clean) {
        const auto conceivable = m_landed.conceivable(*belowTree, *tipTree, m_onto.tree, m_progress);
        if (!conceivable || !*conceivable)
            return conceivable ? Result<void>() : std::unexpected(conceivable.error());
    }
    const auto possible = [&]() -> Result<bool> {
        if (m_run.clean)
            return true;
        const auto whole =
            mergeTrees(m_store, *belowTree, m_onto.tree, *tipTree, m_caches.merge, m_caches.merges, m_progress);
        if (!whole)
            return std::unexpected(whole.error());
        return m_landed.possible(*whole, m_onto.tree);
    };
    // What costs less comes first: once a step has been looked for, the new base's commits are known.
    const bool searchFirst = m_landed.asked();
    if (!searchFirst)
        if (const auto is = possible(); !is || !*is)
            return is ? Result<void>() : std::unexpected(is.error());
    const auto squash = m_landed.findSquash(*belowTree, *tipTree, m_progress);
    if (!squash)
        return std::unexpected(squash.error());
    if (!*squash)
        return {};
    if (searchFirst)
        if (const auto is = possible(); !is || !*is)
            return is ? Result<void>() : std::unexpected(is.error());
    for (ReplayedCommit& commit : m_run.commits) {
        if (commit.outcome == Outcome::Landed)
            continue;
        commit.outcome = Outcome::Landed;
        commit.landedAs = **squash;
        commit.newId.reset();
        commit.newTree.reset();
        commit.conflicts.clear();
        commit.dependsOn.clear();
        commit.losesSignature = false;
        commit.notAsGit.clear();
    }
    m_positions.clear();
    m_current = m_onto;
    m_run.stackedTips.clear();
    finish();
    return {};
}

} // namespace espalier

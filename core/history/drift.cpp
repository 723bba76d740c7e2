// SPDX-License-Identifier: MIT
#include "core/history/drift.h"

#include "core/history/drift_counts.h"
#include "core/history/versions.h"
#include "core/refs/ref_name.h"

#include <algorithm>
#include <set>

namespace espalier {

namespace {

// The refs that get a row: the clone's branches, and what only a remote of the places has.
std::vector<int> chooseRefs(const Snapshot& snapshot, DriftScope scope)
{
    std::vector<int> chosen;
    const auto at = [&](int i) -> const Ref& { return snapshot.refs[std::size_t(i)]; };
    const int count = int(snapshot.refs.size());
    if (scope == DriftScope::AllRefs) {
        for (int i = 0; i < count; ++i)
            chosen.push_back(i);
        return chosen;
    }
    for (int i = 0; i < count; ++i)
        if (at(i).kind == RefKind::Branch)
            chosen.push_back(i);
    for (const Place place : {Place::Fork, Place::Upstream})
        for (int i = 0; i < count; ++i) {
            const Ref& ref = at(i);
            if (ref.kind != RefKind::RemoteBranch || ref.place != place || snapshot.findRef(branchRef(ref.branch)))
                continue;
            chosen.push_back(i);
        }
    return chosen;
}

// Compares a branch of the clone with the fork's copy of it.
class ForkComparison {
  public:
    ForkComparison(const Snapshot& snapshot, const Progress& progress) : m_snapshot(snapshot), m_progress(progress) {}

    Result<void> compare(const Ref& ref, BranchDrift& drift)
    {
        if (ref.kind != RefKind::Branch)
            return {};
        const Ref* copy = m_snapshot.forkCopy(ref.branch);
        if (!copy)
            return {};
        if (copy->row == ref.row) {
            drift.fork = ForkState::Same;
            return {};
        }
        const auto fork = m_snapshot.history.onlyIn(copy->row, ref.row);
        drift.forkAhead = std::uint32_t(fork.size());
        if (fork.empty() || m_snapshot.history.isAncestor(ref.row, copy->row)) {
            drift.fork = fork.empty() ? ForkState::Behind : ForkState::Ahead;
            drift.forkBehind = fork.empty() ? std::uint32_t(m_snapshot.history.onlyIn(ref.row, copy->row).size()) : 0;
            return {};
        }
        drift.forkBehind = std::uint32_t(m_snapshot.history.onlyIn(ref.row, copy->row).size());
        if (auto opened = open(); !opened)
            return opened;
        const auto pairs = pairVersions(*m_store, versionIds(m_snapshot, copy->row, ref.row), m_cache, m_progress);
        if (!pairs)
            return std::unexpected(pairs.error());
        drift.replacement = std::make_shared<const Replacement>(replacementOf(*pairs, m_addresses));
        drift.fork = drift.replacement->foreign.empty() ? ForkState::OlderVersion : ForkState::Foreign;
        return {};
    }

  private:
    Result<void> open()
    {
        if (m_store)
            return {};
        auto opened = Repository::open(m_snapshot.path);
        if (!opened)
            return std::unexpected(opened.error());
        m_repository.emplace(std::move(*opened));
        m_store = std::make_unique<ObjectStore>(*m_repository);
        m_addresses = addressesOfUser(*m_repository);
        return {};
    }
    const Snapshot& m_snapshot;
    const Progress& m_progress;
    std::optional<Repository> m_repository;
    std::unique_ptr<ObjectStore> m_store;
    std::set<std::string> m_addresses;
    EquivalenceCache m_cache;
};

// For every row off the main line the nearest topic branch of the clone at or below it, preferring the first parent.
class Stacks {
  public:
    explicit Stacks(const Snapshot& snapshot) : m_snapshot(snapshot)
    {
        const Ref* mainLine = snapshot.mainLineRef();
        if (!mainLine)
            return;
        const Row size = snapshot.history.size();
        std::vector<std::uint8_t> onMain(size);
        onMain[mainLine->row] = 1;
        for (Row row = mainLine->row; row < size; ++row)
            if (onMain[row])
                for (const Row parent : snapshot.history.parents(row))
                    onMain[parent] = 1;
        m_nearest.assign(size, -1);
        for (std::size_t i = snapshot.refs.size(); i-- > 0;) {
            const Ref& ref = snapshot.refs[i];
            if (ref.kind == RefKind::Branch && !onMain[ref.row] && int(i) != snapshot.mainLine)
                m_nearest[ref.row] = int(i);
        }
        for (Row row = size; row-- > 0;)
            if (m_nearest[row] < 0 && !onMain[row])
                m_nearest[row] = below(row);
    }
    int below(Row row) const
    {
        if (!m_nearest.empty())
            for (const Row parent : m_snapshot.history.parents(row))
                if (m_nearest[parent] >= 0)
                    return m_nearest[parent];
        return -1;
    }

  private:
    const Snapshot& m_snapshot;
    std::vector<int> m_nearest;
};

} // namespace

Result<Drift> computeDrift(const SnapshotPtr& snapshot, DriftScope scope, const Progress& progress)
{
    Drift drift;
    drift.snapshot = snapshot;
    const Ref* mainLine = snapshot->mainLineRef();
    if (!mainLine)
        return drift;
    const auto chosen = chooseRefs(*snapshot, scope);
    std::vector<Row> tips;
    tips.reserve(chosen.size());
    for (const int ref : chosen)
        tips.push_back(snapshot->refs[std::size_t(ref)].row);
    const auto counts = countTips(snapshot->history, mainLine->row, tips, progress);
    if (!counts)
        return std::unexpected(counts.error());

    ForkComparison forks(*snapshot, progress);
    const Stacks stacks(*snapshot);
    drift.branches.reserve(chosen.size());
    for (std::size_t i = 0; i < chosen.size(); ++i) {
        if (progress.stopped())
            return cancelled();
        const Ref& ref = snapshot->refs[std::size_t(chosen[i])];
        BranchDrift& branch = drift.branches.emplace_back();
        branch.ref = chosen[i];
        branch.ahead = (*counts)[i].ahead;
        branch.behind = (*counts)[i].behind;
        branch.mergeBase = (*counts)[i].mergeBase;
        if (ref.kind == RefKind::Branch)
            branch.standsOn = stacks.below(ref.row);
        if (auto compared = forks.compare(ref, branch); !compared)
            return std::unexpected(compared.error());
    }
    return drift;
}

Result<MainLines> mainLinesOf(const Snapshot& snapshot, const Progress& progress)
{
    MainLines found;
    const Ref* mainLine = snapshot.mainLineRef();
    if (!mainLine || mainLine->row == noRow)
        return found;
    const Ref* clone = snapshot.findRef(branchRef(mainLine->branch));
    const Ref* fork = snapshot.forkCopy(mainLine->branch);
    for (const auto& [ref, standing] : {std::pair{clone, &found.clone}, std::pair{fork, &found.fork}}) {
        if (!ref || ref->row == noRow)
            continue;
        const Row tip = ref->row;
        const auto counts = driftOfAll(snapshot.history, mainLine->row, std::span(&tip, 1), progress);
        if (!counts)
            return std::unexpected(counts.error());
        *standing = counts->front();
    }
    return found;
}

} // namespace espalier

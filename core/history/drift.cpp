// SPDX-License-Identifier: MIT
#include "core/history/drift.h"

#include "core/git/commit.h"
#include "core/history/drift_counts.h"
#include "core/history/equivalence.h"

#include <algorithm>
#include <cstdlib>
#include <set>

namespace espalier {

namespace {

std::string lowered(std::string text)
{
    // Mail addresses are compared without regard to ASCII case, as mailmap does.
    std::ranges::transform(text, text.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? char(c + 32) : c; });
    return text;
}

std::set<std::string> addressesOfUser(const Repository& repository)
{
    std::set<std::string> addresses;
    for (const char* key : {"user.email", "author.email", "committer.email"})
        if (const auto address = repository.config(key); address && !address->empty())
            addresses.insert(lowered(*address));
    for (const char* variable : {"GIT_AUTHOR_EMAIL", "GIT_COMMITTER_EMAIL"})
        if (const char* address = std::getenv(variable); address && *address)
            addresses.insert(lowered(address));
    if (const auto identity = committerIdentity(repository))
        addresses.insert(lowered(identity->email));
    return addresses;
}

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
            if (ref.kind != RefKind::RemoteBranch || ref.place != place || snapshot.findRef("refs/heads/" + ref.branch))
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
        const auto clone = m_snapshot.history.onlyIn(ref.row, copy->row);
        drift.forkBehind = std::uint32_t(clone.size());
        auto foreign = countForeign(fork, clone, ref.row);
        if (!foreign)
            return std::unexpected(foreign.error());
        drift.foreign = *foreign;
        drift.fork = drift.foreign > 0 ? ForkState::Foreign : ForkState::OlderVersion;
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
    std::vector<Oid> ids(std::span<const Row> rows) const
    {
        std::vector<Oid> list;
        list.reserve(rows.size());
        for (const Row row : rows)
            list.push_back(m_snapshot.history.id(row));
        return list;
    }

    Result<std::uint32_t> countForeign(std::span<const Row> fork, const std::vector<Row>& clone, Row tip)
    {
        if (auto opened = open(); !opened)
            return std::unexpected(opened.error());
        std::vector<Oid> others;
        const Ref* mainLine = m_snapshot.mainLineRef();
        for (const Row row : fork) {
            // What the upstream has stays there whatever happens to the fork.
            if (!m_snapshot.roles.oneForBoth() && (m_snapshot.placesOf(row) & placeBit(Place::Upstream)))
                continue;
            const auto commit = readCommit(*m_store, m_snapshot.history.id(row));
            if (!commit)
                return std::unexpected(commit.error());
            if (!m_addresses.contains(lowered(commit->author.email)))
                others.push_back(commit->id);
        }
        // What is equal is nearly always among the branch's own commits; the main line's are read only for the rest.
        std::vector<Row> own = mainLine ? m_snapshot.history.onlyIn(tip, mainLine->row) : clone;
        std::erase_if(own, [&](Row row) { return !std::ranges::binary_search(clone, row); });
        std::vector<Row> rest;
        std::ranges::set_difference(clone, own, std::back_inserter(rest));
        for (const auto& among : {own, rest}) {
            if (others.empty() || among.empty())
                continue;
            const auto pairs = equalCommits(*m_store, others, ids(among), m_cache, m_progress);
            if (!pairs)
                return std::unexpected(pairs.error());
            for (const auto& pair : *pairs)
                std::erase(others, pair.first);
        }
        return std::uint32_t(others.size());
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

} // namespace espalier

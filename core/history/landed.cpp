// SPDX-License-Identifier: MIT
#include "core/git/commit.h"
#include "core/history/drift.h"
#include "core/history/equivalence.h"

namespace espalier {

namespace {

std::vector<Oid> idsOf(const History& history, std::span<const Row> rows)
{
    std::vector<Oid> ids;
    ids.reserve(rows.size());
    for (const Row row : rows)
        ids.push_back(history.id(row));
    return ids;
}

Result<Oid> treeOfCommit(ObjectStore& store, const Oid& commit)
{
    const auto read = readCommit(store, commit);
    if (!read)
        return std::unexpected(read.error());
    return read->tree;
}

} // namespace

Result<Landed> findLanded(const Repository& repository, const Snapshot& snapshot, Row tip, Row mainLine,
                          EquivalenceCache& cache, const Progress& progress)
{
    const History& history = snapshot.history;
    Landed landed;
    if (tip >= history.size() || mainLine >= history.size())
        return fail(ErrorKind::Usage, "There is nothing to compare");
    landed.merged = history.isAncestor(tip, mainLine);
    if (landed.merged)
        return landed;
    const auto ownRows = history.onlyIn(tip, mainLine);
    landed.ahead = std::uint32_t(ownRows.size());
    const auto others = idsOf(history, history.onlyIn(mainLine, tip));
    ObjectStore store(repository);
    auto pairs = equalCommits(store, idsOf(history, ownRows), others, cache, progress);
    if (!pairs)
        return std::unexpected(pairs.error());
    landed.commits = std::move(*pairs);
    const auto bases = history.mergeBases(tip, mainLine);
    if (landed.wholly() || landed.ahead < 2 || bases.empty())
        return landed;
    const auto baseTree = treeOfCommit(store, history.id(bases[0]));
    const auto tipTree = treeOfCommit(store, history.id(tip));
    if (!baseTree || !tipTree)
        return std::unexpected(baseTree ? tipTree.error() : baseTree.error());
    auto squash = squashedAs(store, *baseTree, *tipTree, others, cache, progress);
    if (!squash)
        return std::unexpected(squash.error());
    landed.squash = *squash;
    return landed;
}

} // namespace espalier

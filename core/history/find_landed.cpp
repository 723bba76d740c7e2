// SPDX-License-Identifier: MIT
#include "core/git/commit.h"
#include "core/history/drift.h"
#include "core/history/find_equal.h"

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
    std::optional<std::pair<Oid, Oid>> combined;
    // One commit is its own combined change.
    if (const auto bases = history.mergeBases(tip, mainLine); landed.ahead >= 2 && !bases.empty()) {
        const auto baseTree = treeOfCommit(store, history.id(bases[0]));
        const auto tipTree = treeOfCommit(store, history.id(tip));
        if (!baseTree || !tipTree)
            return std::unexpected(baseTree ? tipTree.error() : baseTree.error());
        combined.emplace(*baseTree, *tipTree);
    }
    auto found = findEqual(store, idsOf(history, ownRows), others, combined, cache, progress);
    if (!found)
        return std::unexpected(found.error());
    landed.commits = std::move(found->pairs);
    landed.squash = found->squash;
    return landed;
}

} // namespace espalier

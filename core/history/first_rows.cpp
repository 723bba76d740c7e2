// SPDX-License-Identifier: MIT
#include "core/history/first_rows.h"

#include "core/history/history_data.h"
#include "core/history/row_order.h"

#include <algorithm>
#include <numeric>
#include <queue>
#include <unordered_map>

namespace espalier {

namespace {

// The walked commits as a table, in display order.
History tableOf(const std::vector<Oid>& ids, const std::vector<KnownCommit>& commits)
{
    std::unordered_map<Oid, std::uint32_t> numbers;
    for (std::uint32_t i = 0; i < ids.size(); ++i)
        numbers.emplace(ids[i], i);
    WorkGraph graph;
    graph.parentStart.push_back(0);
    for (const KnownCommit& commit : commits) {
        graph.times.push_back(commit.time);
        for (const Oid& parent : commit.parents)
            if (const auto at = numbers.find(parent); at != numbers.end())
                graph.parents.push_back(at->second);
        graph.parentStart.push_back(std::uint32_t(graph.parents.size()));
    }
    std::vector<std::uint32_t> byId(ids.size());
    std::iota(byId.begin(), byId.end(), 0u);
    std::ranges::sort(byId, {}, [&](std::uint32_t i) { return ids[i]; });
    const auto order = displayOrder(graph, byId);
    if (order.size() < ids.size())
        return {};
    std::vector<Row> rowOf(ids.size());
    for (Row row = 0; row < order.size(); ++row)
        rowOf[order[row]] = row;
    std::vector<Oid> rowIds;
    std::vector<std::int64_t> times;
    std::vector<std::uint32_t> parentStart{0};
    std::vector<Row> parents;
    for (const std::uint32_t i : order) {
        rowIds.push_back(ids[i]);
        times.push_back(graph.times[i]);
        for (const std::uint32_t parent : graph.parentsOf(i))
            parents.push_back(rowOf[parent]);
        parentStart.push_back(std::uint32_t(parents.size()));
    }
    return HistoryBuilder::fromRows(std::move(rowIds), std::move(times), std::move(parentStart), std::move(parents));
}

} // namespace

History newestRows(std::span<const Oid> tips, std::size_t most,
                   const std::function<std::optional<KnownCommit>(const Oid&)>& lookUp)
{
    std::unordered_map<Oid, KnownCommit> found;
    std::priority_queue<std::pair<std::int64_t, Oid>> waiting;
    const auto visit = [&](const Oid& id) {
        if (found.contains(id))
            return;
        if (auto commit = lookUp(id)) {
            waiting.emplace(commit->time, id);
            found.emplace(id, std::move(*commit));
        }
    };
    for (const Oid& tip : tips)
        visit(tip);
    std::vector<Oid> ids;
    std::vector<KnownCommit> commits;
    while (!waiting.empty() && ids.size() < most) {
        const Oid id = waiting.top().second;
        waiting.pop();
        // A copy: visiting parents moves the table.
        const KnownCommit commit = found.at(id); // NOLINT(performance-unnecessary-copy-initialization)
        for (const Oid& parent : commit.parents)
            visit(parent);
        ids.push_back(id);
        commits.push_back(commit);
    }
    return ids.size() < most ? History() : tableOf(ids, commits);
}

} // namespace espalier

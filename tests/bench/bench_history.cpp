// SPDX-License-Identifier: MIT
//
// Loading, laying out and measuring a repository's history. The repository is named by ESPALIER_BENCH_REPOSITORY (see
// build-shape); ESPALIER_BENCH_TOPIC, when set, is the branch whose commits are looked for on the main line.
#include "core/history/commit_graph.h"
#include "core/history/drift.h"
#include "core/history/equivalence.h"
#include "core/history/snapshot.h"
#include "core/lanes/lanes.h"

#include <benchmark/benchmark.h>

#include <cstdlib>

using namespace espalier;

namespace {

const Repository* repository(benchmark::State& state)
{
    static const auto opened = [] {
        const char* path = std::getenv("ESPALIER_BENCH_REPOSITORY");
        return Repository::open(path ? path : ".");
    }();
    if (!opened)
        state.SkipWithError(opened.error().line().c_str());
    return opened ? &*opened : nullptr;
}

SnapshotPtr snapshot(benchmark::State& state)
{
    static SnapshotPtr taken;
    const Repository* from = repository(state);
    if (from && !taken) {
        auto result = takeSnapshot(*from);
        if (result)
            taken = *result;
        else
            state.SkipWithError(result.error().line().c_str());
    }
    return from ? taken : nullptr;
}

std::vector<Oid> tipsOf(const Snapshot& from)
{
    std::vector<Oid> tips;
    for (const Ref& ref : from.refs)
        tips.push_back(ref.tip);
    return tips;
}

void loadHistory(benchmark::State& state)
{
    const auto known = snapshot(state);
    if (!known)
        return;
    const auto tips = tipsOf(*known);
    for (auto _ : state)
        benchmark::DoNotOptimize(History::load(*repository(state), tips));
    state.counters["commits"] = known->history.size();
    state.counters["bytes_a_commit"] = double(known->history.bytes()) / double(std::max<Row>(known->history.size(), 1));
}

void reloadHistory(benchmark::State& state)
{
    const auto known = snapshot(state);
    if (!known)
        return;
    const auto tips = tipsOf(*known);
    for (auto _ : state)
        benchmark::DoNotOptimize(History::reload(*repository(state), tips, known->history));
}

// Refs, worktree, history and lanes: all that the picture needs.
void loadAndLayOut(benchmark::State& state)
{
    if (!snapshot(state))
        return;
    for (auto _ : state)
        benchmark::DoNotOptimize(layOut(*takeSnapshot(*repository(state))));
}

// What the window does after a fetch that brought one commit: the newest one is not in the table before.
void reloadAfterOneCommit(benchmark::State& state)
{
    const auto known = snapshot(state);
    if (!known || known->history.size() == 0)
        return;
    std::vector<Oid> older;
    for (const Oid& tip : tipsOf(*known))
        if (tip != known->history.id(0))
            older.push_back(tip);
    for (const Row parent : known->history.parents(0))
        older.push_back(known->history.id(parent));
    auto history = History::load(*repository(state), older);
    if (!history || history->size() + 1 != known->history.size())
        return state.SkipWithError("the newest commit cannot be left out of the table");
    auto before = std::make_shared<Snapshot>();
    before->path = known->path;
    before->history = std::move(*history);
    for (auto _ : state)
        benchmark::DoNotOptimize(layOut(*takeSnapshot(*repository(state), {}, before)));
}

// Mapping the file and checking all of it, the checksum first.
void openCommitGraph(benchmark::State& state)
{
    const Repository* from = repository(state);
    if (!from)
        return;
    for (auto _ : state) {
        const auto graph = CommitGraph::open({from->commonDir() / "objects"});
        if (!graph || !*graph)
            return state.SkipWithError("there is no commit-graph file");
        state.counters["commits"] = (*graph)->size();
    }
}

void driftOfEveryRef(benchmark::State& state)
{
    const auto known = snapshot(state);
    if (!known || !known->mainLineRef())
        return;
    std::vector<Row> tips;
    for (const Ref& ref : known->refs)
        tips.push_back(ref.row);
    for (auto _ : state)
        benchmark::DoNotOptimize(driftOfAll(known->history, known->mainLineRef()->row, tips));
    state.counters["tips"] = double(tips.size());
}

void landedTopic(benchmark::State& state)
{
    const auto known = snapshot(state);
    const char* topic = std::getenv("ESPALIER_BENCH_TOPIC");
    if (!known)
        return;
    const Ref* ref = topic ? known->findByAnyName(topic) : nullptr;
    if (!ref)
        return state.SkipWithError("ESPALIER_BENCH_TOPIC names no branch");
    const auto idsOf = [&](const std::vector<Row>& rows) {
        std::vector<Oid> ids;
        for (const Row row : rows)
            ids.push_back(known->history.id(row));
        return ids;
    };
    const Row mainLine = known->mainLineRef()->row;
    for (auto _ : state) {
        EquivalenceCache cache; // nothing is known beforehand, as nothing is to the reference
        ObjectStore store(*repository(state));
        benchmark::DoNotOptimize(equalCommits(store, idsOf(known->history.onlyIn(ref->row, mainLine)),
                                              idsOf(known->history.onlyIn(mainLine, ref->row)), cache));
    }
}

} // namespace

BENCHMARK(loadHistory)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(reloadHistory)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(reloadAfterOneCommit)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(openCommitGraph)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(loadAndLayOut)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(driftOfEveryRef)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(landedTopic)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK_MAIN();

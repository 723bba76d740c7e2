// SPDX-License-Identifier: MIT
//
// Loading, laying out and measuring a repository's history. The repository is named by ESPALIER_BENCH_REPOSITORY (see
// build-shape); ESPALIER_BENCH_TOPIC, when set, is the branch whose commits are looked for on the main line.
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
    for (auto _ : state) {
        EquivalenceCache cache; // nothing is known beforehand, as nothing is to the reference
        benchmark::DoNotOptimize(findLanded(*repository(state), *known, ref->row, known->mainLineRef()->row, cache));
    }
}

} // namespace

BENCHMARK(loadHistory)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(reloadHistory)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(loadAndLayOut)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(driftOfEveryRef)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(landedTopic)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK_MAIN();

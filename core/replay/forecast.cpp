// SPDX-License-Identifier: MIT
#include "core/replay/forecast.h"

#include "core/history/drift.h"
#include "core/replay/batch.h"
#include "core/replay/forecast_store.h"

#include <algorithm>
#include <unordered_map>

namespace espalier {

namespace {

// Own commits up to which a branch is answered in the order it was asked for.
constexpr std::uint32_t fewCommits = 30;
// Kept answers are written this often, so that a run that is cut short has not been for nothing.
constexpr std::size_t savedEvery = 64;

// The branches to be computed, each tip once, in the order in which they are.
std::vector<int> inOrder(const Snapshot& snapshot, std::span<const int> refs, const Ref& mainLine,
                         const Progress& progress)
{
    std::vector<Row> tips;
    for (const int index : refs)
        tips.push_back(snapshot.refs[std::size_t(index)].row);
    const auto drift = driftOfAll(snapshot.history, mainLine.row, tips, progress);
    std::vector<std::pair<std::uint32_t, int>> cost;
    for (std::size_t i = 0; i < refs.size(); ++i) {
        const std::uint32_t ahead = drift ? (*drift)[i].ahead : 0;
        cost.emplace_back(ahead <= fewCommits ? 0 : ahead, refs[i]);
    }
    std::ranges::stable_sort(cost, {}, &std::pair<std::uint32_t, int>::first);
    std::vector<int> ordered;
    for (const auto& [ahead, index] : cost)
        ordered.push_back(index);
    return ordered;
}

} // namespace

Result<void> forecasts(const Repository& repository, const Snapshot& snapshot, std::span<const int> refs,
                       const std::function<void(int ref, const Forecast& forecast)>& deliver, const Progress& progress,
                       const ForecastOptions& options)
{
    const Ref* mainLine = snapshot.mainLineRef();
    std::vector<int> asked;
    for (int i = 0; refs.empty() && i < int(snapshot.refs.size()); ++i)
        if (snapshot.refs[std::size_t(i)].kind == RefKind::Branch)
            asked.push_back(i);
    std::ranges::copy_if(refs, std::back_inserter(asked),
                         [&](int index) { return index >= 0 && std::size_t(index) < snapshot.refs.size(); });
    if (!mainLine) {
        Forecast none;
        none.reason = "There is no main line";
        for (const int index : asked)
            deliver(index, none);
        return {};
    }
    std::optional<ForecastStore> store;
    if (options.keep)
        store.emplace(repository);
    std::unordered_map<Oid, Forecast> known;
    std::vector<int> open;
    std::uint64_t done = 0;
    for (const int index : asked) {
        const Oid& tip = snapshot.refs[std::size_t(index)].tip;
        const auto kept = store ? store->find(tip, mainLine->tip) : std::nullopt;
        if (kept) {
            known.emplace(tip, *kept);
            deliver(index, *kept);
            ++done;
        } else {
            open.push_back(index);
        }
    }
    // What cannot be written is computed again the next time; nobody has to hear of it.
    const auto save = [&] { return store ? store->save() : Result<void>(); };
    std::optional<Batch> batch;
    std::size_t unsaved = 0;
    for (const int index : inOrder(snapshot, open, *mainLine, progress)) {
        if (progress.stopped()) {
            (void)save();
            return cancelled();
        }
        progress.report("Forecasting", done++, asked.size());
        const Oid& tip = snapshot.refs[std::size_t(index)].tip;
        const auto [at, isNew] = known.try_emplace(tip);
        if (isNew) {
            if (!batch)
                batch.emplace(repository, BatchOptions{}, options.equivalence);
            const auto run = batch->run(tip, mainLine->tip, progress);
            if (!run && run.error().kind == ErrorKind::Cancelled) {
                (void)save();
                return std::unexpected(run.error());
            }
            if (run)
                at->second = forecastOf(*run);
            else
                at->second.reason = run.error().line();
            if (store)
                store->keep(tip, mainLine->tip, at->second);
            if (++unsaved % savedEvery == 0)
                (void)save();
        }
        deliver(index, at->second);
    }
    (void)save();
    return {};
}

} // namespace espalier

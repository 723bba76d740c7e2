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
// Of the objects read: a forecast runs beside all else that a window does.
constexpr std::size_t cacheBytes = std::size_t(32) << 20;

// The branches to be computed, in the order in which they are; the first `cheap` have few commits.
struct Order {
    std::vector<int> refs;
    std::size_t cheap = 0;
};
Order inOrder(const Snapshot& snapshot, std::span<const int> refs, const Ref& mainLine, const Progress& progress)
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
    Order order;
    for (const auto& [ahead, index] : cost) {
        order.refs.push_back(index);
        order.cheap += ahead == 0;
    }
    return order;
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
    if (open.empty())
        return {};
    BatchOptions batchOptions;
    batchOptions.cacheBytes = cacheBytes;
    batchOptions.history = &snapshot.history;
    Batch batch(repository, batchOptions, options.equivalence);
    std::size_t unsaved = 0;
    // False: put off, since only a search would tell.
    const auto answer = [&](int index, bool maySearch) -> Result<bool> {
        if (progress.stopped())
            return cancelled();
        progress.report("Forecasting", done, asked.size());
        const Oid& tip = snapshot.refs[std::size_t(index)].tip;
        auto at = known.find(tip);
        if (at == known.end()) {
            Result<std::optional<DryRun>> run =
                maySearch ? batch.run(tip, mainLine->tip, progress).transform([](DryRun&& made) {
                    return std::optional(std::move(made));
                })
                          : batch.runByMergesAlone(tip, mainLine->tip, progress);
            if (!run && run.error().kind == ErrorKind::Cancelled)
                return std::unexpected(run.error());
            if (run && !*run)
                return false;
            Forecast made;
            if (run)
                made = forecastOf(**run);
            else
                made.reason = run.error().line();
            at = known.emplace(tip, std::move(made)).first;
            if (store)
                store->keep(tip, mainLine->tip, at->second);
            if (++unsaved % savedEvery == 0)
                (void)save();
        }
        ++done;
        deliver(index, at->second);
        return true;
    };
    const Order order = inOrder(snapshot, open, *mainLine, progress);
    std::vector<int> later;
    for (std::size_t i = 0; i < order.refs.size(); ++i) {
        const auto given = i < order.cheap ? answer(order.refs[i], false) : Result<bool>(false);
        if (!given) {
            (void)save();
            return std::unexpected(given.error());
        }
        if (!*given)
            later.push_back(order.refs[i]);
    }
    for (const int index : later)
        if (const auto given = answer(index, true); !given) {
            (void)save();
            return std::unexpected(given.error());
        }
    (void)save();
    return {};
}

} // namespace espalier

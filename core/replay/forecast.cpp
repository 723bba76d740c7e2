// SPDX-License-Identifier: MIT
#include "core/replay/forecast.h"

#include "core/replay/batch.h"

#include <unordered_map>

namespace espalier {

Result<void> forecasts(const Repository& repository, const Snapshot& snapshot, std::span<const int> refs,
                       const std::function<void(int ref, const Forecast& forecast)>& deliver, const Progress& progress,
                       std::shared_ptr<EquivalenceCache> equivalence)
{
    const Ref* mainLine = snapshot.mainLineRef();
    std::vector<int> all;
    if (refs.empty()) {
        for (std::size_t i = 0; i < snapshot.refs.size(); ++i)
            if (snapshot.refs[i].kind == RefKind::Branch)
                all.push_back(int(i));
        refs = all;
    }
    Batch batch(repository, {}, std::move(equivalence));
    std::unordered_map<Oid, Forecast> known;
    std::uint64_t done = 0;
    for (const int index : refs) {
        if (progress.stopped())
            return cancelled();
        progress.report("Forecasting", done++, refs.size());
        if (index < 0 || std::size_t(index) >= snapshot.refs.size())
            continue;
        const Ref& ref = snapshot.refs[std::size_t(index)];
        const auto [at, isNew] = known.try_emplace(ref.tip);
        if (isNew && !mainLine) {
            at->second.reason = "There is no main line";
        } else if (isNew) {
            const auto run = batch.run(ref.tip, mainLine->tip, progress);
            if (!run && run.error().kind == ErrorKind::Cancelled)
                return std::unexpected(run.error());
            if (run)
                at->second = forecastOf(*run);
            else
                at->second.reason = run.error().line();
        }
        deliver(index, at->second);
    }
    return {};
}

} // namespace espalier

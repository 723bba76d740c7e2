// SPDX-License-Identifier: MIT
//
// What would happen to every branch if it were replayed onto the main line today, computed in the background for the
// drift board.
//
//     forecasts(repository, *snapshot, {}, [](int ref, const Forecast& f) { … }, progress);
#pragma once

#include "core/replay/dry_run.h"

#include <functional>
#include <memory>
#include <span>

namespace espalier {

class EquivalenceCache;

struct ForecastOptions {
    // What was read of commits, for the next time; may be null.
    std::shared_ptr<EquivalenceCache> equivalence;
    // Answers are kept in the repository's `espalier` folder, and those that are still true given at once.
    bool keep = false;
};

// Dry-runs the branches of the clone (or the given indices into snapshot.refs) onto the main line, in two threads where there
// are two cores, and hands each forecast over as soon as it is there, on the calling thread, which waits. First what is known,
// then what costs little, in the order given (those before that need no search of the main line for what has landed, nor very many files held against each other), then the
// branches with many commits of their own, those with fewer first: a release branch holds up nobody. A branch that cannot be
// forecast gets Forecast::Unknown with its reason; only Cancelled ends the whole, and a repository that cannot be opened once
// more for a thread; what is known by then is kept. Each distinct tip is computed once.
Result<void> forecasts(const Repository& repository, const Snapshot& snapshot, std::span<const int> refs,
                       const std::function<void(int ref, const Forecast& forecast)>& deliver,
                       const Progress& progress = {}, const ForecastOptions& options = {});

} // namespace espalier

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

// Dry-runs the branches of the clone (or the given indices into snapshot.refs) onto the main line, in the order given,
// and hands each forecast over as soon as it is there, from the calling thread, which should be one of low priority. A
// branch that cannot be forecast gets Forecast::Unknown with its reason; only Cancelled ends the whole. Each distinct
// tip is computed once. `equivalence` keeps what was read of commits for the next time; may be null.
Result<void> forecasts(const Repository& repository, const Snapshot& snapshot, std::span<const int> refs,
                       const std::function<void(int ref, const Forecast& forecast)>& deliver,
                       const Progress& progress = {}, std::shared_ptr<EquivalenceCache> equivalence = {});

} // namespace espalier

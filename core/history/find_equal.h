// SPDX-License-Identifier: MIT
//
// equalCommits() and squashedAs() in one pass over the others. Private to core/history.
#pragma once

#include "core/history/equivalence.h"

namespace espalier {

struct EqualChanges {
    std::vector<std::pair<Oid, Oid>> pairs; // as equalCommits() gives them
    std::optional<Oid> squash;              // looked for only when `pairs` does not cover all of `mine`
};
// `combined` are the trees that a squash would go from and to.
Result<EqualChanges> findEqual(ObjectStore& store, std::span<const Oid> mine, std::span<const Oid> others,
                               const std::optional<std::pair<Oid, Oid>>& combined, EquivalenceCache& cache,
                               const Progress& progress, const PassedOver& passedOver = {});

} // namespace espalier

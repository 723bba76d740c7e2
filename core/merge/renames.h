// SPDX-License-Identifier: MIT
//
// Which deleted files came back under another name, as git's diffcore-rename decides for merges: equal contents first, then
// unique base names at 75%, then the best pairs at 50%. Private to core/merge.
#pragma once

#include "core/merge/tree_walk.h"

#include <functional>
#include <set>

namespace espalier {

// What similarity needs of a blob: bytes by hash of chunk, as git's spanhash. Kept between calls.
class SimilarityCache {
  public:
    struct Print {
        std::vector<std::pair<std::uint32_t, std::uint32_t>> chunks; // hash, bytes; in order of hash
        std::uint64_t size = 0;
    };
    // Valid until trim().
    Result<const Print*> print(ObjectStore& store, const Oid& blob);
    // Forgets everything when it has grown large.
    void trim();

  private:
    std::map<Oid, Print> m_prints;
    std::size_t m_cost = 0;
};

// From deleted path to added path. Sources for which `relevant` says no take part only where contents are equal.
Result<std::map<std::string, std::string>> findRenames(ObjectStore& store, SimilarityCache& cache,
                                                       const Departures& departures,
                                                       const std::function<bool(const std::string&)>& relevant,
                                                       int limit, const Progress& progress);

} // namespace espalier

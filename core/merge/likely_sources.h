// SPDX-License-Identifier: MIT
//
// Which of many files a file could have come from at all, so that not each is held against each. Two files that have a score of
// at least `least` share so many bytes that they must share one of the pieces that are left of a source when as many of its most
// usual pieces are taken away as would not be enough for that score: only files with one of these rare pieces are looked at. The
// prefix filter of set similarity joins (Chaudhuri, Ganti, Kaushik, "A primitive operator for similarity joins in data cleaning",
// 2006; from memory), with bytes as weights. Exact: what is left out has a lower score. Private to core/merge.
//
//     LikelySources likely(prints, cache.frequencies(), leastScore);
//     likely.of(targetPrint, found);     // indices into `prints`, ascending
#pragma once

#include "core/merge/renames.h"

#include <span>
#include <vector>

namespace espalier {

class LikelySources {
  public:
    // `prints` may have null ones, which are never found. `frequencies` only says where to begin: any will do.
    LikelySources(std::span<const SimilarityCache::PrintPtr> prints, std::span<const std::uint32_t> frequencies,
                  int least);
    void of(const SimilarityCache::Print& target, std::vector<std::uint32_t>& found);

  private:
    std::vector<std::uint32_t> m_begins; // by hash, into m_having
    std::vector<std::uint32_t> m_having; // sources that have the hash among their rare ones
    std::vector<std::uint32_t> m_seen;   // by source: the question that it was last found for
    std::uint32_t m_question = 0;
};

} // namespace espalier

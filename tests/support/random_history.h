// SPDX-License-Identifier: MIT
//
// Invented histories from a seed: files, folders, renames, modes, symlinks, changes of kind, and edits of lines at chosen
// distances. The same seed gives the same repository everywhere.
//
//     TempRepository repo;
//     for (const MergeCase& merge : randomMerges(repo, 7, {})) …   // merge.base, merge.newBase, merge.commit: commit ids
#pragma once

#include "tests/support/temp_repository.h"

#include <cstdint>
#include <string>
#include <vector>

namespace espalier::test {

struct MergeCase {
    std::string base, newBase, commit; // ids of commits
};

struct HistoryKnobs {
    int merges = 100;
    int files = 24;
    int depth = 3;          // of folders
    int changes = 4;        // a side, at most
    int renamePercent = 15; // of changes
    int kindPercent = 8;    // modes, symlinks, file for folder
    int deletePercent = 10;
    bool renameFolders = false;
};

// Small and the same with every standard library (the standard's distributions are not).
class SmallRandom {
  public:
    explicit SmallRandom(std::uint64_t seed) : m_state(seed * 2654435769u + 88172645463325252u) {}
    std::uint64_t next()
    {
        // splitmix64: Steele, Lea and Flood, "Fast Splittable Pseudorandom Number Generators" (2014).
        std::uint64_t z = (m_state += 0x9E3779B97F4A7C15u);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
        return z ^ (z >> 31);
    }
    int below(int bound) { return bound > 0 ? int(next() % std::uint64_t(bound)) : 0; }
    bool chance(int percent) { return below(100) < percent; }

  private:
    std::uint64_t m_state;
};

std::vector<MergeCase> randomMerges(const TempRepository& into, std::uint64_t seed, const HistoryKnobs& knobs);

} // namespace espalier::test

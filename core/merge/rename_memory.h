// SPDX-License-Identifier: MIT
//
// What a new base has renamed, as merges have found it: a dry run that was put off, or is asked for again, does not look for it
// once more. Private to core/merge.
#pragma once

#include "core/merge/renames.h"

#include <array>
#include <deque>
#include <mutex>
#include <optional>

namespace espalier {

// May be shared by threads (it locks). Of the last merges only, and of those with few renames.
class RenameMemory {
  public:
    using Trees = std::array<Oid, 3>; // base, new base, commit: they say what is asked for
    std::optional<FoundRenames> find(const Trees& trees, int limit);
    void keep(const Trees& trees, int limit, const FoundRenames& found);

  private:
    struct Kept {
        Trees trees;
        int limit = 0;
        FoundRenames found;
    };
    std::mutex m_mutex;
    std::deque<Kept> m_kept; // the last one first
};

} // namespace espalier

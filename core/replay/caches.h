// SPDX-License-Identifier: MIT
//
// Everything worth keeping between the dry runs of one batch. Belongs to one ObjectStore and one thread.
#pragma once

#include "core/history/equivalence.h"
#include "core/merge/tree_merge.h"
#include "core/replay/commit_table.h"

namespace espalier {

struct ReplayCaches {
    explicit ReplayCaches(const Repository& repository, const History* known = nullptr)
        : merge(MergeOptions::of(repository))
        , commits(repository, mostCommits, known)
        , equivalence(std::make_shared<EquivalenceCache>())
    {
    }

    static constexpr std::size_t mostCommits = 1'500'000;

    MergeOptions merge;
    MergeCaches merges;
    CommitTable commits;
    std::shared_ptr<EquivalenceCache> equivalence; // may be shared by the batches of several threads
    // In a hurry, a dry run that would have to search the new base for what has landed, or to hold very many files against
    // each other, ends as if it were cancelled, and is put off.
    void setHurry(bool now)
    {
        hurry = now;
        searchMissed = false;
        merges.setHurry(now);
    }
    bool putOff() const { return searchMissed || merges.putOff(); }
    bool hurry = false;
    bool searchMissed = false;
};

} // namespace espalier

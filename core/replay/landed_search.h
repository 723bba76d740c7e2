// SPDX-License-Identifier: MIT
//
// Whether a change of the topic is already below the new base under another id. Asked only where the merge has shown
// that it may be: when every path of the change either stays as the new base has it, or conflicts. What merges cleanly
// to something new is not there today; that holds too where an equal change had landed and was taken back since, which
// is therefore replayed. Private to core/replay.
#pragma once

#include "core/replay/caches.h"
#include "core/replay/dry_run.h"

namespace espalier {

class LandedSearch {
  public:
    LandedSearch(ObjectStore& store, ReplayCaches& caches, const Plan& plan)
        : m_store(store), m_caches(caches), m_plan(plan)
    {
    }

    // Whether the merge leaves room for an equal change below `newBaseTree`.
    Result<bool> possible(const TreeMerge& merge, const Oid& newBaseTree);
    // Whether the change between two trees leaves room for that, told from what differs alone: not when the new base has one of
    // its paths as it was before the change. True is to be held against possible().
    Result<bool> conceivable(const Oid& before, const Oid& after, const Oid& newBaseTree, const Progress& progress);
    // The commit between merge base and new base whose change equals this one's (or, for squash, the change between
    // the two trees). Nothing when there is none.
    Result<std::optional<Oid>> find(const Oid& commit, const Progress& progress);
    Result<std::optional<Oid>> findSquash(const Oid& baseTree, const Oid& tipTree, const Progress& progress);
    // Whether one of these was asked before, so that the next answer comes cheaply.
    bool asked() const { return m_asked; }

  private:
    Result<OtherCommits> others(const Progress& progress);

    ObjectStore& m_store;
    ReplayCaches& m_caches;
    const Plan& m_plan;
    bool m_asked = false;
};

} // namespace espalier

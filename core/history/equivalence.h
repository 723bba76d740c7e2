// SPDX-License-Identifier: MIT
//
// When two commits are the same change: patch ids as `git patch-id --stable` describes them, cached by commit, with a
// header-only filter (which paths change) in front so that most commits are never read in full.
//
// Attributes are not consulted: what is binary is told from the bytes, as `git patch-id` is given it by a plain diff. git
// itself reads the worktree's .gitattributes for that in `git cherry`; the two can differ only for a file that an attribute
// calls text or binary against its bytes.
//
//     EquivalenceCache cache;
//     auto pairs = equalCommits(store, ofBranch, ofMainLine, cache, progress);
#pragma once

#include "core/git/objects.h"

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace espalier {

struct EquivalenceHabits {
    unsigned threads = 0; // how many may read commits for one question; 0 for all cores
    // Dozens of branches will be asked about: reading every commit's change once is then cheaper than only as much of each
    // as a question needs, twice as dear for a single one.
    bool manyQuestions = false;
};

// For the forecasts of all branches, one after another in the background.
inline constexpr EquivalenceHabits forForecasts{0, true};

// Ids of changes, kept between calls; may be shared by threads (it locks). What a commit changes is against its first parent,
// which grafts, replacements and a shallow boundary make another: `overrides` is the fingerprint of those that hold for all
// that use it (Overrides::fingerprint), empty where none do.
class EquivalenceCache {
  public:
    explicit EquivalenceCache(const EquivalenceHabits& habits = {}, std::string overrides = {});
    ~EquivalenceCache();
    // Else it must not be used: it may hold what is no longer true.
    bool holdsUnder(std::string_view overrides) const;
    struct Data;
    Data& data() const { return *m_data; }

  private:
    std::unique_ptr<Data> m_data;
};

// The id of the change between two trees (zero ids stand for the empty tree): equal for equal changes, whatever the line
// numbers and white space. Nothing when the trees are equal.
Result<std::optional<Oid>> changeId(ObjectStore& store, const Oid& oldTree, const Oid& newTree,
                                    const Progress& progress = {});
// The same for a commit against its first parent; nothing for merges, as `git cherry` has it.
Result<std::optional<Oid>> changeIdOf(ObjectStore& store, const Oid& commit, EquivalenceCache& cache,
                                      const Progress& progress = {});

// Of others that stand in a list for many questions: which of them this one is not about. May be empty.
using PassedOver = std::function<bool(const Oid& other)>;

// For each commit of `mine` that has an equal change among `others`: the pair. Merges are passed over.
Result<std::vector<std::pair<Oid, Oid>>> equalCommits(ObjectStore& store, std::span<const Oid> mine,
                                                      std::span<const Oid> others, EquivalenceCache& cache,
                                                      const Progress& progress = {}, const PassedOver& passedOver = {});
// The one among `others` whose change equals the combined change from `baseTree` to `tipTree`, if any.
Result<std::optional<Oid>> squashedAs(ObjectStore& store, const Oid& baseTree, const Oid& tipTree,
                                      std::span<const Oid> others, EquivalenceCache& cache,
                                      const Progress& progress = {}, const PassedOver& passedOver = {});

} // namespace espalier

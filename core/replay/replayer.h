// SPDX-License-Identifier: MIT
//
// The engine behind dryRun(): carries one planned commit after another. Private to core/replay.
#pragma once

#include "core/replay/caches.h"
#include "core/replay/dry_run.h"
#include "core/replay/held.h"
#include "core/replay/landed_search.h"

#include <memory>
#include <unordered_map>

namespace espalier {

// Where the next commit is to stand.
struct Position {
    Oid id; // zero while something below is unsettled
    Oid tree;
    bool known = true; // `id` is the commit that will be there
    std::shared_ptr<const Held> held;
};

class Replayer {
  public:
    Replayer(ObjectStore& store, ReplayCaches& caches, const Plan& plan, const Settlements& settlements,
             const Progress& progress, bool wantFiles);
    Result<DryRun> run();

  private:
    // A commit of the result while later ones may still be folded into it.
    struct Group {
        std::vector<std::size_t> members;
        Commit commit; // as it is written
    };
    struct Merged {
        Oid tree;
        Settled settled;
        bool landed = false;
        std::vector<NotAsGit> notAsGit = {};
    };

    Result<void> replay(std::size_t index);
    Result<void> replayPlain(std::size_t index, const Commit& commit);
    Result<void> replayMerge(std::size_t index, const Commit& commit);
    Result<Merged> mergeOnto(std::size_t index, const Commit& commit, const Oid& parentTree, const Position& onto);
    Result<Merged> mergeAgain(std::size_t index, const Commit& commit, const std::vector<Position>& parents);
    Result<TreeMerge> mergeOf(const Position& first, const Position& second);
    Result<Position> positionBelow(const Oid& parent);
    Result<Position> positionFor(const Commit& commit);
    void take(std::size_t index, const Merged& merged, const Position& onto);
    void write(std::size_t index, const Merged& merged, std::vector<Oid> parents, bool parentsKnown, Commit commit);
    void fold(std::size_t index, const Merged& merged, const Commit& commit);
    void setUnchanged(std::size_t index, const Commit& commit);
    void setPosition(std::size_t index, Position position);
    void finish();
    Result<void> lookForSquash();

    ObjectStore& m_store;
    ReplayCaches& m_caches;
    const Plan& m_plan;
    const Settlements& m_settlements;
    const Progress& m_progress;
    bool m_wantFiles;
    bool m_keepMerges;
    LandedSearch m_landed;
    DryRun m_run;
    Position m_onto, m_current;
    std::unordered_map<Oid, Position> m_positions; // of each planned commit, once it is replayed
    std::optional<Group> m_group;
};

// The message of `into` followed by `folded`'s, all of `into` in UTF-8.
void appendMessage(Commit& into, const Commit& folded);
// The commit without what no longer holds once it is rewritten: signatures, and a merge's tags. Returns whether it was
// signed.
bool dropStaleHeaders(Commit& commit);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What every part of a merge of trees works with. Private to core/merge.
#pragma once

#include "core/merge/attributes.h"
#include "core/merge/rename_memory.h"
#include "core/merge/renames.h"
#include "core/merge/tree_merge.h"

#include <deque>

namespace espalier {

struct MergeCaches::Data {
    std::shared_ptr<SimilarityCache> similarity = std::make_shared<SimilarityCache>();
    std::shared_ptr<RenameMemory> renames = std::make_shared<RenameMemory>();
    MergeAttributes attributes;
    bool hurry = false, putOff = false;
    // What a side deleted and added, for the last few pairs of trees: within a replay the new base's barely changes.
    std::deque<std::pair<std::pair<Oid, Oid>, RenameField>> fields;
};

struct MergeScene {
    ObjectStore& store;
    const Oid base, newBase, commit; // trees
    const MergeOptions& options;
    MergeCaches::Data& caches;
    const Progress& progress;
};

// The kinds that cannot turn into each other without a decision.
inline int kindOf(const PathEntry& leaf)
{
    return isRegularFile(leaf.mode) ? 1 : leaf.mode == FileMode::Symlink ? 2 : 3;
}

// One path that is left to merge. Starts as what the three have there; renames then bring to it what belongs to it.
struct MergeEntry {
    // Which of the three were equal before renames (git's match_mask): decides without a look at contents.
    enum class Same : std::uint8_t { None, BaseAndNewBase, BaseAndCommit, Sides };

    ThreeLeaves leaves;
    Same same = Same::None;
    bool gone = false;                                 // was renamed: nothing is left to do here
    bool unsettled = false;                            // a conflict, whatever becomes of the contents
    std::optional<ConflictKind> kind;                  // when it is a conflict: what renames make of it
    std::string ancestorPath, newBasePath, commitPath; // where they differ from the entry's own
    std::vector<std::string> otherPaths;
    std::string movedFrom;      // taken along by a renamed directory
    bool movedByCommit = false; // it is the commit's file that was
    bool movedAlone = false;    // to where none of the three had one

    explicit MergeEntry(const ThreeLeaves& three = {}) : leaves(three)
    {
        if (leaves.base.exists() && leaves.base == leaves.newBase)
            same = Same::BaseAndNewBase;
        else if (leaves.base.exists() && leaves.base == leaves.commit)
            same = Same::BaseAndCommit;
        else if (leaves.newBase.exists() && leaves.newBase == leaves.commit)
            same = Same::Sides;
    }
};
using MergeEntries = std::map<std::string, MergeEntry>;

} // namespace espalier

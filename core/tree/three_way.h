// SPDX-License-Identifier: MIT
//
// What a merge wants to know of its three trees, path by path, reading only subtrees whose ids differ.
//
// Two walks of their own beside treeChanges(): the one goes down three trees at once, the other counts whole folders; both
// are most of what a merge of a large tree costs.
//
//     auto changed = threeWayChanges(store, base, newBase, commit, false, progress);
#pragma once

#include "core/tree/entry.h"

#include <map>
#include <set>
#include <string>
#include <vector>

namespace espalier {

// One path in the three trees of a merge.
struct ThreeLeaves {
    PathEntry base, newBase, commit;
    friend bool operator==(const ThreeLeaves&, const ThreeLeaves&) = default;
};
using LeavesByPath = std::map<std::string, ThreeLeaves>;

// Every path at which `commit` differs from `base`, with what `newBase` has there. Cost: the change's, not the tree's.
struct ThreeWayChanges {
    LeavesByPath leaves;
    // "folder/", and the commit's tree there: what the new base left alone and the commit changed or added. Nothing below it
    // is listed.
    std::map<std::string, Oid> folders;
};
// `everyLeaf`: no folder stands for what is below it.
Result<ThreeWayChanges> threeWayChanges(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                                        bool everyLeaf, const Progress& progress);

// The paths that one side deleted and added.
struct Departures {
    std::vector<std::pair<std::string, PathEntry>> deleted, added; // in order of path
    std::set<std::string> removedFolders;
};
Result<Departures> departures(ObjectStore& store, const Oid& base, const Oid& side, const Progress& progress);

} // namespace espalier

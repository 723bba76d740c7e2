// SPDX-License-Identifier: MIT
//
// What differs between trees, leaf by leaf, reading only subtrees whose ids differ. Private to core/merge.
#pragma once

#include "core/git/objects.h"
#include "core/git/tree.h"

#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

namespace espalier {

// A file, symlink or submodule; mode None: nothing is there.
struct Leaf {
    FileMode mode = FileMode::None;
    Oid id;
    bool exists() const { return mode != FileMode::None; }
    friend bool operator==(const Leaf&, const Leaf&) = default;
};

// One path in the three trees of a merge.
struct ThreeLeaves {
    Leaf base, newBase, commit;
    friend bool operator==(const ThreeLeaves&, const ThreeLeaves&) = default;
};
using LeavesByPath = std::map<std::string, ThreeLeaves>;

// Every path at which `commit` differs from `base`, with what `newBase` has there. Cost: the change's, not the tree's.
struct ChangedPaths {
    LeavesByPath leaves;
    // "folder/", and the commit's tree there: what the new base left alone and the commit changed or added. Nothing below it
    // is listed.
    std::map<std::string, Oid> folders;
};
// `everyLeaf`: no folder stands for what is below it.
Result<ChangedPaths> changedPaths(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                                  bool everyLeaf, const Progress& progress);

// The paths that one side deleted and added.
struct Departures {
    std::vector<std::pair<std::string, Leaf>> deleted, added; // in order of path
    std::set<std::string> removedFolders;
};
Result<Departures> departures(ObjectStore& store, const Oid& base, const Oid& side, const Progress& progress);

// Calls `each` for every name at which two trees (not what is below them) differ, with both entries, null where there is none.
// The empty id is an empty tree.
Result<void> eachDifference(ObjectStore& store, const Oid& a, const Oid& b,
                            const std::function<void(const TreeEntry*, const TreeEntry*)>& each);

// Deeper than any real tree; a crafted one must not exhaust the stack.
constexpr int deepestFolder = 2048;

// The directory at a path; zero when there is none.
Result<Oid> treeAt(ObjectStore& store, const Oid& tree, std::string_view path);
// The leaf at a path; one that does not exist when there is none.
Result<Leaf> leafAt(ObjectStore& store, const Oid& tree, std::string_view path);

// `tree` with leaves set or (mode None) removed; a path that ends in '/' sets a whole folder. Directories that become empty go.
// New trees go to store.fresh(). A file whose name a directory has too goes to the path that `aside` gives for its own.
struct TreeEdits {
    std::map<std::string, Leaf> leaves;
};
struct Displaced {
    std::string path, newPath;
    Leaf leaf;
};
using Aside = std::function<std::string(const std::string& path)>;
Result<Oid> applyEdits(ObjectStore& store, const Oid& tree, const TreeEdits& edits, const Aside& aside,
                       std::vector<Displaced>& displaced);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Small questions and changes on trees by path. Costs the trees on the way, not the size of the whole.
//
//     Result<Oid> tree = editTree(store, root, {{"doc/a.txt", {FileMode::File, blob}}, {"b.txt", {}}});
#pragma once

#include "core/git/objects.h"
#include "core/git/tree.h"

#include <map>
#include <string>
#include <vector>

namespace espalier {

// What stands at a path; mode None: nothing.
struct PathEntry {
    FileMode mode = FileMode::None;
    Oid id;
    bool exists() const { return mode != FileMode::None; }
    friend bool operator==(const PathEntry&, const PathEntry&) = default;
};

// Nothing stands at a path below a file. Errors: Broken.
Result<PathEntry> entryAt(ObjectStore& store, const Oid& root, std::string_view path);

// Whether the same stands at a path in both trees; reads no folder on the way that is the same in both. Errors: Broken.
Result<bool> sameAt(ObjectStore& store, const Oid& root, const Oid& otherRoot, std::string_view path);

// The tree with these paths set (mode None: taken out); folders that become empty go, a file that stands in the way of
// a folder is replaced. New trees are in store.fresh().
Result<Oid> editTree(ObjectStore& store, const Oid& root, const std::map<std::string, PathEntry>& edits);

// The paths of files that differ, in tree order; a folder on one side counts with all its files.
Result<std::vector<std::string>> changedPaths(ObjectStore& store, const Oid& before, const Oid& after);

} // namespace espalier

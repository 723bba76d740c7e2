// SPDX-License-Identifier: MIT
//
// Trees with some paths changed. Costs the trees on the way, not the size of the whole; what lies between the edits is copied as
// it is.
//
//     Result<Oid> tree = editTree(store, root, {{"doc/a.txt", {FileMode::File, blob}}, {"b.txt", {}}});
#pragma once

#include "core/tree/entry.h"

#include <functional>
#include <map>
#include <string>
#include <vector>

namespace espalier {

// By path; mode None: the file there is taken out, a folder is not. A path that ends in '/' sets a whole folder, or takes it out.
using TreeEdits = std::map<std::string, PathEntry>;

// The tree with the edits made; folders that become empty go. Of a file and a folder of one name the one that was set stays, and
// the folder when both were. New trees, the root among them, are in store.newObjects(). Errors: Broken, Unsupported (see
// nestedTooDeeply()).
Result<Oid> editTree(ObjectStore& store, const Oid& root, const TreeEdits& edits);

// The same, but a file whose name a folder has too goes to the path that `aside` gives for its own, or to the next free one.
struct Displaced {
    std::string path, newPath;
    PathEntry entry;
};
using Aside = std::function<std::string(const std::string& path)>;
Result<Oid> editTree(ObjectStore& store, const Oid& root, const TreeEdits& edits, const Aside& aside,
                     std::vector<Displaced>& displaced);

} // namespace espalier

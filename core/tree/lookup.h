// SPDX-License-Identifier: MIT
//
// What stands at a path of a tree. Costs the trees on the way, not the size of the whole.
//
//     Result<PathEntry> entry = entryAt(store, root, "doc/a.txt");
#pragma once

#include "core/tree/entry.h"

#include <string_view>

namespace espalier {

// Nothing stands at a path below a file; the empty path is the root itself. Errors: Broken.
Result<PathEntry> entryAt(ObjectStore& store, const Oid& root, std::string_view path);
// The same for one who knows what to look for, which is quicker. The folder at a path, zero when there is none; the file, symlink
// or submodule, no folder.
Result<Oid> treeAt(ObjectStore& store, const Oid& root, std::string_view path);
Result<PathEntry> fileAt(ObjectStore& store, const Oid& root, std::string_view path);

// Whether the same stands at a path in both trees; reads no folder on the way that is the same in both. Errors: Broken.
Result<bool> sameAt(ObjectStore& store, const Oid& root, const Oid& otherRoot, std::string_view path);

} // namespace espalier

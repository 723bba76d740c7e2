// SPDX-License-Identifier: MIT
//
// Tree objects as views over their bytes: no copy an entry.
//
//     for (const TreeEntry& entry : parseTree(object.view()).value()) …
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// The five modes that git writes.
enum class FileMode : std::uint32_t {
    None = 0,
    Tree = 0040000,
    File = 0100644,
    Executable = 0100755,
    Symlink = 0120000,
    Submodule = 0160000,
};

struct TreeEntry {
    std::string_view name; // points into the tree's bytes
    FileMode mode = FileMode::None;
    Oid id;
    bool isTree() const { return mode == FileMode::Tree; }
};

// Errors: Broken when the bytes are not a tree. Old group-writable modes are read as 0100644.
Result<std::vector<TreeEntry>> parseTree(std::string_view bytes);

// git's order of names within a tree: a directory compares as if its name ended in '/'.
int compareTreeNames(std::string_view a, bool aIsTree, std::string_view b, bool bIsTree);

// The bytes of a tree; entries must be in git's order.
std::string formatTree(const std::vector<TreeEntry>& entries);

} // namespace espalier

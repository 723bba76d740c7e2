// SPDX-License-Identifier: MIT
//
// Which renames a merge has to know, found by going through the three trees once as git's merge-ort does: what it calls
// relevant sources, removed directories and deferred directories. Only folders in which both sides changed something are looked
// into. Private to core/merge.
#pragma once

#include "core/tree/three_way.h"

#include <array>
#include <map>
#include <string>
#include <vector>

namespace espalier {

// What a side's new name for a folder that it removed is needed for.
enum class FolderUse : std::uint8_t {
    None,
    Ancestor, // only as part of a folder above it
    Self,     // the other side put something into it
};

struct RenameNeeds {
    // Deleted files whose new name matters: true for their contents (the other side changed or deleted them too), false for
    // their folder's sake.
    std::map<std::string, bool> sources;
    std::map<std::string, FolderUse> folders;
    // Folders, each with a '/' behind it, that git looks into after everything else, in the order in which it does.
    std::vector<std::string> later;
    std::array<Oid, 3> trees; // of the merge: base, new base, commit
};

// [0] for what the new base renamed, [1] for what the commit did.
Result<std::array<RenameNeeds, 2>> renameNeeds(ObjectStore& store, const Oid& base, const Oid& newBase,
                                               const Oid& commit, const Progress& progress);

} // namespace espalier

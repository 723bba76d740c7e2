// SPDX-License-Identifier: MIT
//
// Which paths differ between two trees, by their ids alone: equal subtrees are never opened. No renames. Private to
// core/history.
#pragma once

#include "core/git/tree.h"
#include "core/history/quick_objects.h"

#include <functional>
#include <string>
#include <vector>

namespace espalier {

struct PathChange {
    std::string path;
    FileMode oldMode = FileMode::None, newMode = FileMode::None; // None: not there
    Oid oldId, newId;
};

// In git's path order. `wanted`, when given, is asked for every path and folder that differs; when it says no the walk
// ends and nothing is returned. Zero ids stand for the empty tree.
Result<std::optional<std::vector<PathChange>>>
treeChanges(QuickObjects& objects, const Oid& oldTree, const Oid& newTree,
            const std::function<bool(const std::string& path)>& wanted = {});

} // namespace espalier

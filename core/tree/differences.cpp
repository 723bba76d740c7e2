// SPDX-License-Identifier: MIT
#include "core/tree/differences.h"

namespace espalier {

Result<void> eachDifference(ObjectStore& store, const Oid& a, const Oid& b,
                            const std::function<void(const TreeEntry*, const TreeEntry*)>& each)
{
    const auto left = openTree(store, a), right = openTree(store, b);
    if (!left || !right)
        return std::unexpected(!left ? left.error() : right.error());
    return eachDifference(a, left->view(), b, right->view(),
                          [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
                              each(was, is);
                              return {};
                          });
}

Result<std::vector<std::string>> changedPaths(ObjectStore& store, const Oid& before, const Oid& after)
{
    auto changes = treeChanges(StoreTrees{store}, before, after);
    if (!changes)
        return std::unexpected(changes.error());
    std::vector<std::string> paths;
    for (PathChange& change : **changes)
        paths.push_back(std::move(change.path));
    return paths;
}

} // namespace espalier

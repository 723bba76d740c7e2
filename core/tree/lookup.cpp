// SPDX-License-Identifier: MIT
#include "core/tree/lookup.h"

#include <algorithm>

namespace espalier {

namespace {

// Where a file or folder of that name is, or nothing.
Result<std::optional<TreeEntry>> findEntry(const Object& tree, const Oid& id, std::string_view name, bool isTree)
{
    TreeCursor at(tree.view());
    const bool found = at.seek(name, isTree);
    if (at.damaged())
        return damagedTree(id);
    return found ? std::optional(at.entry()) : std::nullopt;
}

std::string_view firstName(std::string_view path) { return path.substr(0, path.find('/')); }
std::string_view withoutFirst(std::string_view path)
{
    path.remove_prefix(std::min(firstName(path).size() + 1, path.size()));
    return path;
}

// Nothing below what is no folder.
Result<PathEntry> child(ObjectStore& store, const PathEntry& folder, std::string_view name)
{
    if (folder.mode != FileMode::Tree)
        return PathEntry{};
    const auto tree = openTree(store, folder.id);
    if (!tree)
        return std::unexpected(tree.error());
    TreeCursor at(tree->view());
    const bool found = at.find(name);
    if (at.damaged())
        return damagedTree(folder.id);
    return found ? at.entry().entry() : PathEntry{};
}

} // namespace

Result<PathEntry> entryAt(ObjectStore& store, const Oid& root, std::string_view path)
{
    PathEntry entry{FileMode::Tree, root};
    while (!path.empty() && entry.exists()) {
        auto below = child(store, entry, firstName(path));
        if (!below)
            return below;
        entry = *below;
        path = withoutFirst(path);
    }
    return entry;
}

Result<bool> sameAt(ObjectStore& store, const Oid& root, const Oid& otherRoot, std::string_view path)
{
    PathEntry one{FileMode::Tree, root}, other{FileMode::Tree, otherRoot};
    for (; !path.empty() && one != other; path = withoutFirst(path)) {
        const auto below = child(store, one, firstName(path)), otherBelow = child(store, other, firstName(path));
        if (!below || !otherBelow)
            return std::unexpected(below ? otherBelow.error() : below.error());
        one = *below;
        other = *otherBelow;
    }
    return one == other;
}

Result<Oid> treeAt(ObjectStore& store, const Oid& tree, std::string_view path)
{
    Oid at = tree;
    while (!path.empty()) {
        const auto opened = openTree(store, at);
        if (!opened)
            return std::unexpected(opened.error());
        const std::size_t slash = std::min(path.find('/'), path.size());
        const auto entry = findEntry(*opened, at, path.substr(0, slash), true);
        if (!entry)
            return std::unexpected(entry.error());
        if (!*entry)
            return Oid{};
        at = (*entry)->id;
        path.remove_prefix(std::min(slash + 1, path.size()));
    }
    return at;
}

Result<PathEntry> fileAt(ObjectStore& store, const Oid& tree, std::string_view path)
{
    Oid at = tree;
    while (true) {
        const auto opened = openTree(store, at);
        if (!opened)
            return std::unexpected(opened.error());
        const std::size_t slash = path.find('/');
        const auto entry = findEntry(*opened, at, path.substr(0, slash), slash != std::string_view::npos);
        if (!entry)
            return std::unexpected(entry.error());
        if (!*entry)
            return PathEntry{};
        if (slash == std::string_view::npos)
            return (*entry)->entry();
        at = (*entry)->id;
        path.remove_prefix(slash + 1);
    }
}

} // namespace espalier

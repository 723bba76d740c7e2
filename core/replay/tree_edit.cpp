// SPDX-License-Identifier: MIT
#include "core/replay/tree_edit.h"

#include <algorithm>

namespace espalier {

namespace {

const Oid& emptyTree()
{
    static const Oid id = *Oid::parse(emptyTreeHex);
    return id;
}

// Trees nest as deep as paths are long; what is deeper than this was made to do harm.
constexpr int deepest = 2048;

struct OpenTree {
    Object object; // keeps the names of `entries` alive
    std::vector<TreeEntry> entries;
};

Result<OpenTree> openTree(ObjectStore& store, const Oid& id)
{
    OpenTree tree;
    auto object = store.read(id, ObjectType::Tree);
    if (!object)
        return std::unexpected(object.error());
    tree.object = std::move(*object);
    auto entries = parseTree(tree.object.view());
    if (!entries)
        return std::unexpected(entries.error());
    tree.entries = std::move(*entries);
    return tree;
}

std::unexpected<Error> tooDeep(const Oid& root)
{
    return fail(ErrorKind::Broken, "The folders of a tree are nested too deeply", root.hex(),
                "Run git fsck in the repository");
}

using Edits = std::map<std::string, PathEntry>;

Result<Oid> edit(ObjectStore& store, const Oid& root, Edits::const_iterator from, Edits::const_iterator to,
                 std::size_t prefix, int depth)
{
    if (depth > deepest)
        return tooDeep(root);
    auto tree = openTree(store, root);
    if (!tree)
        return std::unexpected(tree.error());
    std::vector<TreeEntry>& entries = tree->entries;
    while (from != to) {
        const std::string_view rest = std::string_view(from->first).substr(prefix);
        const std::size_t slash = rest.find('/');
        const std::string_view name = rest.substr(0, slash);
        const auto at = std::ranges::find(entries, name, &TreeEntry::name);
        TreeEntry now{name, FileMode::None, {}};
        auto next = std::next(from);
        if (slash == std::string_view::npos) {
            now = {name, from->second.mode, from->second.id};
            if (!from->second.exists() && at != entries.end() && at->isTree())
                now = *at; // only files are taken out
        } else {
            const std::string folder = from->first.substr(0, prefix + slash + 1);
            while (next != to && next->first.starts_with(folder))
                ++next;
            const bool isFolder = at != entries.end() && at->isTree();
            auto below = edit(store, isFolder ? at->id : emptyTree(), from, next, folder.size(), depth + 1);
            if (!below)
                return below;
            // Taking something out of where nothing is leaves what stands there.
            if (*below != emptyTree())
                now = {name, FileMode::Tree, *below};
            else if (at != entries.end() && !isFolder)
                now = *at;
        }
        if (at != entries.end())
            entries.erase(at);
        if (now.mode != FileMode::None) {
            const auto place = std::ranges::find_if(entries, [&](const TreeEntry& other) {
                return compareTreeNames(now.name, now.isTree(), other.name, other.isTree()) < 0;
            });
            entries.insert(place, now);
        }
        from = next;
    }
    if (entries.empty())
        return emptyTree();
    std::string bytes = formatTree(entries);
    return bytes == tree->object.view() ? root : store.add(ObjectType::Tree, std::move(bytes));
}

Result<void> collect(ObjectStore& store, const Oid& before, const Oid& after, std::string& path,
                     std::vector<std::string>& paths, int depth)
{
    if (before == after)
        return {};
    if (depth > deepest)
        return tooDeep(after);
    auto left = openTree(store, before);
    auto right = openTree(store, after);
    if (!left || !right)
        return std::unexpected(left ? right.error() : left.error());
    const TreeEntry none;
    std::size_t i = 0, j = 0;
    while (i < left->entries.size() || j < right->entries.size()) {
        int order = 0;
        if (i == left->entries.size())
            order = 1;
        else if (j == right->entries.size())
            order = -1;
        else
            order = compareTreeNames(left->entries[i].name, left->entries[i].isTree(), right->entries[j].name,
                                     right->entries[j].isTree());
        const TreeEntry& a = order <= 0 ? left->entries[i++] : none;
        const TreeEntry& b = order >= 0 ? right->entries[j++] : none;
        if (a.id == b.id && a.mode == b.mode)
            continue;
        const std::size_t length = path.size();
        path += order <= 0 ? a.name : b.name;
        if ((a.mode != FileMode::None && !a.isTree()) || (b.mode != FileMode::None && !b.isTree()))
            paths.push_back(path);
        if (a.isTree() || b.isTree()) {
            path += '/';
            auto done = collect(store, a.isTree() ? a.id : emptyTree(), b.isTree() ? b.id : emptyTree(), path, paths,
                                depth + 1);
            if (!done)
                return done;
        }
        path.resize(length);
    }
    return {};
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
    const auto tree = store.read(folder.id, ObjectType::Tree);
    if (!tree)
        return std::unexpected(tree.error());
    TreeCursor at(tree->view());
    const bool found = at.find(name);
    if (at.damaged())
        return fail(ErrorKind::Broken, "A tree object is damaged", folder.id.hex(), "Run git fsck in the repository");
    return found ? PathEntry{at.entry().mode, at.entry().id} : PathEntry{};
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

Result<Oid> editTree(ObjectStore& store, const Oid& root, const std::map<std::string, PathEntry>& edits)
{
    return edits.empty() ? root : edit(store, root, edits.begin(), edits.end(), 0, 0);
}

Result<std::vector<std::string>> changedPaths(ObjectStore& store, const Oid& before, const Oid& after)
{
    std::vector<std::string> paths;
    std::string path;
    if (auto done = collect(store, before, after, path, paths, 0); !done)
        return std::unexpected(done.error());
    return paths;
}

} // namespace espalier

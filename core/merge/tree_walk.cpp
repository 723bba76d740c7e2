// SPDX-License-Identifier: MIT
#include "core/merge/tree_walk.h"

#include <algorithm>
#include <deque>

namespace espalier {

namespace {

const Oid emptyTree = *Oid::parse(emptyTreeHex);

// A tree's bytes; none where there is no tree.
Result<Object> openTree(ObjectStore& store, const Oid& id)
{
    static const Object none{ObjectType::Tree, std::make_shared<const std::string>()};
    if (id.isZero() || id == emptyTree)
        return none;
    return store.read(id, ObjectType::Tree);
}

std::unexpected<Error> damagedTree(const Oid& id)
{
    return fail(ErrorKind::Broken, "A tree object is damaged", id.hex(), "Run git fsck in the repository");
}

// Where a file or folder of that name is, or nothing.
Result<std::optional<TreeEntry>> findEntry(const Object& tree, const Oid& id, std::string_view name, bool isTree)
{
    TreeCursor at(tree.view());
    const bool found = at.seek(name, isTree);
    if (at.damaged())
        return damagedTree(id);
    return found ? std::optional(at.entry()) : std::nullopt;
}

Leaf leafOf(const TreeEntry* entry) { return entry ? Leaf{entry->mode, entry->id} : Leaf{}; }

// Calls `each` for every name at which two trees differ, with the entries of both (null where there is none).
template <typename Each>
Result<void> differences(const Oid& aId, const Object& a, const Oid& bId, const Object& b, Each each)
{
    TreeCursor left(a.view()), right(b.view());
    while (true) {
        TreeCursor::skipEqual(left, right);
        if (left.damaged() || right.damaged())
            return damagedTree(left.damaged() ? aId : bId);
        if (left.atEnd() && right.atEnd())
            return {};
        const int order = left.atEnd()    ? 1
                          : right.atEnd() ? -1
                                          : compareTreeNames(left.entry().name, left.entry().isTree(),
                                                             right.entry().name, right.entry().isTree());
        const TreeEntry* was = order <= 0 ? &left.entry() : nullptr;
        const TreeEntry* is = order >= 0 ? &right.entry() : nullptr;
        if (!was || !is || was->id != is->id || was->mode != is->mode)
            if (auto done = each(was, is); !done)
                return done;
        if (was)
            left.next();
        if (is)
            right.next();
    }
}

class ChangeWalk {
  public:
    ChangeWalk(ObjectStore& store, bool everyLeaf, const Progress& progress)
        : m_store(store), m_everyLeaf(everyLeaf), m_progress(progress)
    {
    }

    Result<void> run(const Oid& base, const Oid& newBase, const Oid& commit, const std::string& prefix, int depth)
    {
        if (m_progress.stopped())
            return cancelled();
        if (depth > deepestFolder)
            return fail(ErrorKind::Unsupported, "The folders are nested too deeply", prefix.substr(0, 200));
        const auto o = openTree(m_store, base), a = openTree(m_store, newBase), b = openTree(m_store, commit);
        for (const auto* tree : {&o, &a, &b})
            if (!*tree)
                return std::unexpected(tree->error());
        TreeCursor there(a->view());
        return differences(base, *o, commit, *b, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
            const TreeEntry& any = was ? *was : *is;
            const bool found = there.seek(any.name, any.isTree());
            if (there.damaged())
                return damagedTree(newBase);
            std::string path = prefix + std::string(any.name);
            if (!any.isTree()) {
                changed.leaves[std::move(path)] = {leafOf(was), leafOf(found ? &there.entry() : nullptr), leafOf(is)};
                return {};
            }
            const auto idOf = [](const TreeEntry* entry) { return entry ? entry->id : Oid{}; };
            const Oid newBaseId = found ? there.entry().id : Oid{};
            // What the commit takes away is looked into all the same: it may have gone elsewhere.
            if (!m_everyLeaf && is && idOf(was) == newBaseId) {
                changed.folders.emplace(path + '/', is->id);
                return {};
            }
            return run(idOf(was), newBaseId, idOf(is), path + '/', depth + 1);
        });
    }

    ChangedPaths changed;

  private:
    ObjectStore& m_store;
    const bool m_everyLeaf;
    const Progress& m_progress;
};

class DepartureWalk {
  public:
    DepartureWalk(ObjectStore& store, const Progress& progress) : m_store(store), m_progress(progress) {}

    Result<void> run(const Oid& base, const Oid& side, const std::string& prefix, int depth)
    {
        if (m_progress.stopped())
            return cancelled();
        if (depth > deepestFolder)
            return fail(ErrorKind::Unsupported, "The folders are nested too deeply", prefix.substr(0, 200));
        const auto o = openTree(m_store, base), a = openTree(m_store, side);
        if (!o || !a)
            return std::unexpected(!o ? o.error() : a.error());
        return differences(base, *o, side, *a, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
            const TreeEntry& any = was ? *was : *is;
            std::string path = prefix + std::string(any.name);
            if (any.isTree()) {
                if (!is)
                    found.removedFolders.insert(path);
                return run(was ? was->id : Oid{}, is ? is->id : Oid{}, path + '/', depth + 1);
            }
            if (!is)
                found.deleted.emplace_back(std::move(path), leafOf(was));
            else if (!was)
                found.added.emplace_back(std::move(path), leafOf(is));
            return {};
        });
    }

    Departures found;

  private:
    ObjectStore& m_store;
    const Progress& m_progress;
};

class TreeWriter {
  public:
    using Edit = std::map<std::string, Leaf>::const_iterator;

    TreeWriter(ObjectStore& store, const Aside& aside, std::vector<Displaced>& displaced)
        : m_store(store), m_aside(aside), m_displaced(displaced)
    {
    }

    // The tree with the edits in [begin, end) made, all of which are below `prefix`; zero when nothing is left.
    Result<Oid> write(const Oid& id, const std::string& prefix, Edit begin, Edit end)
    {
        const auto tree = openTree(m_store, id);
        if (!tree)
            return std::unexpected(tree.error());
        std::vector<NameEdit> edits; // their names point into the paths
        for (Edit at = begin; at != end;) {
            const std::string_view rest = std::string_view(at->first).substr(prefix.size());
            const std::size_t slash = rest.find('/');
            const std::string_view name = rest.substr(0, slash);
            if (slash == std::string_view::npos || slash + 1 == rest.size()) {
                edits.push_back({name, slash != std::string_view::npos, at->second});
                ++at;
                continue;
            }
            const std::string inside = prefix + std::string(name) + '/';
            Edit last = at;
            while (last != end && last->first.starts_with(inside))
                ++last;
            const auto old = findEntry(*tree, id, name, true);
            if (!old)
                return std::unexpected(old.error());
            const auto made = write(*old ? (*old)->id : Oid{}, inside, at, last);
            if (!made)
                return made;
            edits.push_back({name, true, made->isZero() ? Leaf{} : Leaf{FileMode::Tree, *made}});
            at = last;
        }
        std::ranges::sort(edits, [](const NameEdit& a, const NameEdit& b) {
            return compareTreeNames(a.name, a.isTree, b.name, b.isTree) < 0;
        });
        return join(id, *tree, edits, prefix);
    }

  private:
    struct NameEdit {
        std::string_view name;
        bool isTree = false;
        Leaf leaf;
    };

    // Copies what lies between the edits as it is.
    Result<Oid> join(const Oid& id, const Object& tree, const std::vector<NameEdit>& edits, const std::string& prefix)
    {
        std::string bytes;
        bytes.reserve(tree.view().size() + edits.size() * 64);
        TreeCursor at(tree.view());
        std::vector<std::string_view> added;
        for (const NameEdit& edit : edits) {
            const char* const from = at.position();
            const bool there = at.seek(edit.name, edit.isTree);
            if (at.damaged())
                return damagedTree(id);
            bytes.append(from, at.position());
            if (edit.leaf.exists())
                appendEntry(bytes, {edit.name, edit.leaf.mode, edit.leaf.id});
            if (there)
                at.next();
            else if (edit.leaf.exists())
                added.push_back(edit.name);
        }
        if (at.damaged())
            return damagedTree(id);
        bytes.append(at.position(), tree.view().data() + tree.view().size());
        if (!added.empty())
            if (auto done = putAside(id, bytes, added, prefix); !done)
                return std::unexpected(done.error());
        return bytes.empty() ? Oid{} : m_store.add(ObjectType::Tree, std::move(bytes));
    }

    // Where a name that was added is now both a file's and a folder's, the file gets another.
    Result<void> putAside(const Oid& id, std::string& bytes, const std::vector<std::string_view>& added,
                          const std::string& prefix)
    {
        const std::string before = bytes; // the entries' names point into it
        auto entries = parseTree(before);
        if (!entries)
            return damagedTree(id);
        std::deque<std::string> newNames;
        for (const std::string_view name : added)
            putAside(name, prefix, *entries, newNames);
        if (newNames.empty())
            return {};
        std::ranges::sort(*entries, [](const TreeEntry& a, const TreeEntry& b) {
            return compareTreeNames(a.name, a.isTree(), b.name, b.isTree()) < 0;
        });
        bytes = formatTree(*entries);
        return {};
    }

    // A file whose name a directory has too gets another.
    void putAside(std::string_view name, const std::string& prefix, std::vector<TreeEntry>& entries,
                  std::deque<std::string>& newNames)
    {
        const auto folder =
            std::ranges::find_if(entries, [&](const TreeEntry& entry) { return entry.isTree() && entry.name == name; });
        const auto file = std::ranges::find_if(
            entries, [&](const TreeEntry& entry) { return !entry.isTree() && entry.name == name; });
        if (folder == entries.end() || file == entries.end())
            return;
        const std::string wanted = m_aside(prefix + std::string(name)).substr(prefix.size());
        std::string other = wanted;
        for (int i = 0; std::ranges::contains(entries, std::string_view(other), &TreeEntry::name); ++i)
            other = wanted + "_" + std::to_string(i);
        m_displaced.push_back({prefix + std::string(name), prefix + other, leafOf(&*file)});
        file->name = newNames.emplace_back(std::move(other));
    }

    ObjectStore& m_store;
    const Aside& m_aside;
    std::vector<Displaced>& m_displaced;
};

} // namespace

Result<ChangedPaths> changedPaths(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                                  bool everyLeaf, const Progress& progress)
{
    ChangeWalk walk(store, everyLeaf, progress);
    if (base != commit)
        if (auto done = walk.run(base, newBase, commit, {}, 0); !done)
            return std::unexpected(done.error());
    return std::move(walk.changed);
}

Result<Departures> departures(ObjectStore& store, const Oid& base, const Oid& side, const Progress& progress)
{
    DepartureWalk walk(store, progress);
    if (auto done = walk.run(base, side, {}, 0); !done)
        return std::unexpected(done.error());
    return std::move(walk.found);
}

Result<void> eachDifference(ObjectStore& store, const Oid& a, const Oid& b,
                            const std::function<void(const TreeEntry*, const TreeEntry*)>& each)
{
    const auto left = openTree(store, a), right = openTree(store, b);
    if (!left || !right)
        return std::unexpected(!left ? left.error() : right.error());
    return differences(a, *left, b, *right, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
        each(was, is);
        return {};
    });
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

Result<Leaf> leafAt(ObjectStore& store, const Oid& tree, std::string_view path)
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
            return Leaf{};
        if (slash == std::string_view::npos)
            return leafOf(&**entry);
        at = (*entry)->id;
        path.remove_prefix(slash + 1);
    }
}

Result<Oid> applyEdits(ObjectStore& store, const Oid& tree, const TreeEdits& edits, const Aside& aside,
                       std::vector<Displaced>& displaced)
{
    if (edits.leaves.empty())
        return tree;
    const auto made = TreeWriter(store, aside, displaced).write(tree, {}, edits.leaves.begin(), edits.leaves.end());
    if (made && made->isZero())
        return store.add(ObjectType::Tree, {});
    return made;
}

} // namespace espalier

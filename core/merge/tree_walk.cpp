// SPDX-License-Identifier: MIT
#include "core/merge/tree_walk.h"

#include <algorithm>
#include <deque>

namespace espalier {

namespace {

// Deeper than any real tree; a crafted one must not exhaust the stack.
constexpr int deepest = 2048;

const Oid emptyTree = *Oid::parse(emptyTreeHex);

// A tree and the bytes that its entries point into.
struct OpenTree {
    Object object;
    std::vector<TreeEntry> entries;

    const TreeEntry* find(std::string_view name, bool tree) const
    {
        const auto at = std::ranges::lower_bound(entries, 0, {}, [&](const TreeEntry& entry) {
            return compareTreeNames(entry.name, entry.isTree(), name, tree);
        });
        return at != entries.end() && at->name == name && at->isTree() == tree ? &*at : nullptr;
    }
};

Result<OpenTree> openTree(ObjectStore& store, const Oid& id)
{
    OpenTree tree;
    if (id.isZero() || id == emptyTree)
        return tree;
    auto object = store.read(id, ObjectType::Tree);
    if (!object)
        return std::unexpected(object.error());
    auto entries = parseTree(object->view());
    if (!entries)
        return fail(ErrorKind::Broken, "A tree object is damaged", id.hex(), "Run git fsck in the repository");
    tree.object = std::move(*object);
    tree.entries = std::move(*entries);
    return tree;
}

Leaf leafOf(const TreeEntry* entry) { return entry ? Leaf{entry->mode, entry->id} : Leaf{}; }

// Calls `each` for every name at which two trees differ, with the entries of both (null where there is none).
template <typename Each> Result<void> differences(const OpenTree& a, const OpenTree& b, Each each)
{
    std::size_t i = 0, j = 0;
    while (i < a.entries.size() || j < b.entries.size()) {
        int order = 0;
        if (i == a.entries.size())
            order = 1;
        else if (j == b.entries.size())
            order = -1;
        else
            order = compareTreeNames(a.entries[i].name, a.entries[i].isTree(), b.entries[j].name, b.entries[j].isTree());
        const TreeEntry* left = order <= 0 ? &a.entries[i] : nullptr;
        const TreeEntry* right = order >= 0 ? &b.entries[j] : nullptr;
        i += left != nullptr;
        j += right != nullptr;
        if (left && right && left->id == right->id && left->mode == right->mode)
            continue;
        if (auto done = each(left, right); !done)
            return done;
    }
    return {};
}

class ChangeWalk {
  public:
    ChangeWalk(ObjectStore& store, const Progress& progress) : m_store(store), m_progress(progress) {}

    Result<void> run(const Oid& base, const Oid& newBase, const Oid& commit, const std::string& prefix, int depth)
    {
        if (m_progress.stopped())
            return cancelled();
        if (depth > deepest)
            return fail(ErrorKind::Unsupported, "The folders are nested too deeply", prefix.substr(0, 200));
        const auto o = openTree(m_store, base), a = openTree(m_store, newBase), b = openTree(m_store, commit);
        for (const auto* tree : {&o, &a, &b})
            if (!*tree)
                return std::unexpected(tree->error());
        return differences(*o, *b, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
            const TreeEntry& any = was ? *was : *is;
            const TreeEntry* there = a->find(any.name, any.isTree());
            std::string path = prefix + std::string(any.name);
            if (!any.isTree()) {
                leaves[std::move(path)] = {leafOf(was), leafOf(there), leafOf(is)};
                return {};
            }
            const auto idOf = [](const TreeEntry* entry) { return entry ? entry->id : Oid{}; };
            return run(idOf(was), idOf(there), idOf(is), path + '/', depth + 1);
        });
    }

    LeavesByPath leaves;

  private:
    ObjectStore& m_store;
    const Progress& m_progress;
};

class DepartureWalk {
  public:
    DepartureWalk(ObjectStore& store, const Progress& progress) : m_store(store), m_progress(progress) {}

    Result<void> run(const Oid& base, const Oid& side, const std::string& prefix, int depth)
    {
        if (m_progress.stopped())
            return cancelled();
        if (depth > deepest)
            return fail(ErrorKind::Unsupported, "The folders are nested too deeply", prefix.substr(0, 200));
        const auto o = openTree(m_store, base), a = openTree(m_store, side);
        if (!o || !a)
            return std::unexpected(!o ? o.error() : a.error());
        return differences(*o, *a, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
            const TreeEntry& any = was ? *was : *is;
            std::string path = prefix + std::string(any.name);
            if (any.isTree())
                return run(was ? was->id : Oid{}, is ? is->id : Oid{}, path + '/', depth + 1);
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
        auto tree = openTree(m_store, id);
        if (!tree)
            return std::unexpected(tree.error());
        Names files, folders; // edited ones only; their names point into the edits
        for (Edit at = begin; at != end;) {
            const std::string_view rest = std::string_view(at->first).substr(prefix.size());
            const std::size_t slash = rest.find('/');
            if (slash == std::string_view::npos) {
                files[rest] = at->second;
                ++at;
                continue;
            }
            const std::string_view name = rest.substr(0, slash);
            const std::string inside = prefix + std::string(name) + '/';
            Edit last = at;
            while (last != end && last->first.starts_with(inside))
                ++last;
            const TreeEntry* old = tree->find(name, true);
            const auto made = write(old ? old->id : Oid{}, inside, at, last);
            if (!made)
                return made;
            folders[name] = made->isZero() ? Leaf{} : Leaf{FileMode::Tree, *made};
            at = last;
        }
        return join(*tree, files, folders, prefix);
    }

  private:
    using Names = std::map<std::string_view, Leaf>;

    Result<Oid> join(const OpenTree& tree, Names& files, Names& folders, const std::string& prefix)
    {
        std::vector<TreeEntry> entries;
        entries.reserve(tree.entries.size() + files.size() + folders.size());
        for (const TreeEntry& entry : tree.entries) {
            Names& edited = entry.isTree() ? folders : files;
            const auto at = edited.find(entry.name);
            if (at == edited.end()) {
                entries.push_back(entry);
                continue;
            }
            if (at->second.exists())
                entries.push_back({entry.name, at->second.mode, at->second.id});
            edited.erase(at);
        }
        std::vector<std::string_view> added;
        for (const Names* left : {&files, &folders})
            for (const auto& [name, leaf] : *left)
                if (leaf.exists()) {
                    entries.push_back({name, leaf.mode, leaf.id});
                    added.push_back(name);
                }
        std::deque<std::string> newNames;
        for (const std::string_view name : added)
            putAside(name, prefix, entries, newNames);
        if (entries.empty())
            return Oid{};
        if (!added.empty())
            std::ranges::sort(entries, [](const TreeEntry& a, const TreeEntry& b) {
                return compareTreeNames(a.name, a.isTree(), b.name, b.isTree()) < 0;
            });
        return m_store.add(ObjectType::Tree, formatTree(entries));
    }

    // A file whose name a directory has too gets another.
    void putAside(std::string_view name, const std::string& prefix, std::vector<TreeEntry>& entries,
                  std::deque<std::string>& newNames)
    {
        const auto folder = std::ranges::find_if(
            entries, [&](const TreeEntry& entry) { return entry.isTree() && entry.name == name; });
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

Result<LeavesByPath> changedLeaves(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                                   const Progress& progress)
{
    ChangeWalk walk(store, progress);
    if (base != commit)
        if (auto done = walk.run(base, newBase, commit, {}, 0); !done)
            return std::unexpected(done.error());
    return std::move(walk.leaves);
}

Result<Departures> departures(ObjectStore& store, const Oid& base, const Oid& side, const Progress& progress)
{
    DepartureWalk walk(store, progress);
    if (auto done = walk.run(base, side, {}, 0); !done)
        return std::unexpected(done.error());
    return std::move(walk.found);
}

Result<Oid> treeAt(ObjectStore& store, const Oid& tree, std::string_view path)
{
    Oid at = tree;
    while (!path.empty()) {
        const auto opened = openTree(store, at);
        if (!opened)
            return std::unexpected(opened.error());
        const std::size_t slash = std::min(path.find('/'), path.size());
        const TreeEntry* entry = opened->find(path.substr(0, slash), true);
        if (!entry)
            return Oid{};
        at = entry->id;
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
        const TreeEntry* entry = opened->find(path.substr(0, slash), slash != std::string_view::npos);
        if (!entry)
            return Leaf{};
        if (slash == std::string_view::npos)
            return leafOf(entry);
        at = entry->id;
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

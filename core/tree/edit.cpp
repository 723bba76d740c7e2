// SPDX-License-Identifier: MIT
#include "core/tree/edit.h"

#include <algorithm>
#include <deque>

namespace espalier {

namespace {

// What becomes of one name of a folder. A file and a folder of one name are two.
struct NameEdit {
    std::string_view name; // points into a path
    bool isTree = false;
    PathEntry entry;
};

bool comesBefore(const NameEdit& a, const NameEdit& b)
{
    return compareTreeNames(a.name, a.isTree, b.name, b.isTree) < 0;
}

// What was set takes the place of whatever has its name and is of the other kind.
void replaceOtherKind(std::vector<NameEdit>& edits)
{
    std::map<std::pair<std::string_view, bool>, bool> sets; // by name and kind
    for (const NameEdit& edit : edits)
        sets[{edit.name, edit.isTree}] = edit.entry.exists();
    const std::size_t count = edits.size();
    for (std::size_t i = 0; i < count; ++i) {
        NameEdit& edit = edits[i];
        const auto other = sets.find({edit.name, !edit.isTree});
        if (!edit.isTree && other != sets.end() && other->second)
            edit.entry = {};
        else if (edit.entry.exists() && other == sets.end())
            edits.push_back({edit.name, !edit.isTree, {}});
    }
}

class TreeWriter {
  public:
    using Edit = TreeEdits::const_iterator;

    // Without an `aside` a file and a folder of one name do not stand side by side: one replaces the other.
    TreeWriter(ObjectStore& store, const Aside* aside, std::vector<Displaced>& displaced)
        : m_store(store), m_aside(aside), m_displaced(displaced)
    {
    }

    // The tree with the edits in [begin, end) made, all of which are below `prefix`; zero when nothing is left.
    Result<Oid> write(const Oid& id, const std::string& prefix, Edit begin, Edit end, int depth)
    {
        if (depth > deepestFolder)
            return nestedTooDeeply(prefix);
        const auto tree = openTree(m_store, id);
        if (!tree)
            return std::unexpected(tree.error());
        std::vector<NameEdit> edits;
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
            TreeCursor old(tree->view());
            const bool found = old.seek(name, true);
            if (old.damaged())
                return damagedTree(id);
            const auto made = write(found ? old.entry().id : Oid{}, inside, at, last, depth + 1);
            if (!made)
                return made;
            edits.push_back({name, true, made->isZero() ? PathEntry{} : PathEntry{FileMode::Tree, *made}});
            at = last;
        }
        if (!m_aside)
            replaceOtherKind(edits);
        std::ranges::sort(edits, comesBefore);
        return join(id, *tree, edits, prefix);
    }

  private:
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
            if (edit.entry.exists())
                appendEntry(bytes, {edit.name, edit.entry.mode, edit.entry.id});
            if (there)
                at.next();
            else if (edit.entry.exists())
                added.push_back(edit.name);
        }
        if (at.damaged())
            return damagedTree(id);
        bytes.append(at.position(), tree.view().data() + tree.view().size());
        if (m_aside && !added.empty())
            if (auto done = putAside(id, bytes, added, prefix); !done)
                return std::unexpected(done.error());
        if (bytes == tree.view())
            return bytes.empty() ? Oid{} : id;
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
        const std::string wanted = (*m_aside)(prefix + std::string(name)).substr(prefix.size());
        std::string other = wanted;
        for (int i = 0; std::ranges::contains(entries, std::string_view(other), &TreeEntry::name); ++i)
            other = wanted + "_" + std::to_string(i);
        m_displaced.push_back({prefix + std::string(name), prefix + other, file->entry()});
        file->name = newNames.emplace_back(std::move(other));
    }

    ObjectStore& m_store;
    const Aside* m_aside;
    std::vector<Displaced>& m_displaced;
};

Result<Oid> edited(ObjectStore& store, const Oid& root, const TreeEdits& edits, const Aside* aside,
                   std::vector<Displaced>& displaced)
{
    if (edits.empty())
        return root;
    const auto made = TreeWriter(store, aside, displaced).write(root, {}, edits.begin(), edits.end(), 0);
    if (made && made->isZero())
        return store.add(ObjectType::Tree, {});
    return made;
}

} // namespace

Result<Oid> editTree(ObjectStore& store, const Oid& root, const TreeEdits& edits)
{
    std::vector<Displaced> nothing;
    return edited(store, root, edits, nullptr, nothing);
}

Result<Oid> editTree(ObjectStore& store, const Oid& root, const TreeEdits& edits, const Aside& aside,
                     std::vector<Displaced>& displaced)
{
    return edited(store, root, edits, &aside, displaced);
}

} // namespace espalier

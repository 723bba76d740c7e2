// SPDX-License-Identifier: MIT
//
// Which paths differ between two trees, by their ids alone: equal subtrees are never opened. No renames.
//
//     auto changes = treeChanges(StoreTrees{store}, oldTree, newTree);
//     for (const PathChange& change : **changes) …
#pragma once

#include "core/tree/entry.h"

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct PathChange {
    std::string path;
    PathEntry before, after;
};

// Calls `each` for every name at which two trees (not what is below them) differ, with both entries, null where there is none;
// a file and a folder of one name come one after the other, each with a null. `aId`, `bId`: for the words of an error.
template <typename Each>
Result<void> eachDifference(const Oid& aId, std::string_view a, const Oid& bId, std::string_view b, Each each)
{
    TreeCursor left(a), right(b);
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
        // The same is spelled differently in trees with old group-writable modes.
        if (!was || !is || was->id != is->id || was->mode != is->mode)
            if (auto done = each(was, is); !done)
                return done;
        if (was)
            left.next();
        if (is)
            right.next();
    }
}

// The same with trees out of a store; the zero id is an empty tree. Errors: Broken.
Result<void> eachDifference(ObjectStore& store, const Oid& a, const Oid& b,
                            const std::function<void(const TreeEntry*, const TreeEntry*)>& each);

// How a walk gets the bytes of a tree: operator() gives what stays valid as long as the walk looks at it, with view().
struct StoreTrees {
    ObjectStore& store;
    Result<Object> operator()(const Oid& id) const { return openTree(store, id); }
};

template <typename Trees> class DifferenceWalk {
  public:
    using Wanted = std::function<bool(const std::string& path)>;
    DifferenceWalk(Trees trees, const Wanted& wanted) : m_trees(trees), m_wanted(wanted) {}

    Result<void> run(const Oid& oldTree, const Oid& newTree, int depth)
    {
        if (oldTree == newTree)
            return {};
        if (depth > deepestFolder)
            return nestedTooDeeply(m_path);
        const auto before = m_trees(oldTree), after = m_trees(newTree);
        if (!before || !after)
            return std::unexpected(before ? after.error() : before.error());
        return eachDifference(oldTree, before->view(), newTree, after->view(),
                              [&](const TreeEntry* was, const TreeEntry* is) { return take(was, is, depth); });
    }

    std::vector<PathChange> changes;
    bool unwanted = false;

  private:
    Result<void> take(const TreeEntry* was, const TreeEntry* is, int depth)
    {
        const TreeEntry& any = was ? *was : *is;
        const std::size_t length = m_path.size();
        m_path += any.name;
        unwanted = unwanted || (m_wanted && !m_wanted(m_path));
        Result<void> done;
        if (!unwanted && any.isTree()) {
            m_path += '/';
            done = run(was ? was->id : Oid(), is ? is->id : Oid(), depth + 1);
        } else if (!unwanted) {
            changes.push_back({m_path, was ? was->entry() : PathEntry(), is ? is->entry() : PathEntry()});
        }
        m_path.resize(length);
        // An error that is taken off again below: the quickest way out of every folder.
        return unwanted && done ? Result<void>(cancelled()) : done;
    }

    Trees m_trees;
    const Wanted& m_wanted;
    std::string m_path;
};

// The files, symlinks and submodules that differ, in order of their paths' bytes where both trees are sorted; a folder on one
// side counts with all that is in it. `wanted`, when given, is asked for every path and folder that differs; when it says no
// the walk ends and nothing is returned. Zero ids stand for the empty tree. Errors: Broken, Unsupported (see
// nestedTooDeeply()).
template <typename Trees>
Result<std::optional<std::vector<PathChange>>>
treeChanges(Trees trees, const Oid& oldTree, const Oid& newTree,
            const std::function<bool(const std::string& path)>& wanted = {})
{
    DifferenceWalk<Trees> walk(trees, wanted);
    const auto done = walk.run(oldTree, newTree, 0);
    if (walk.unwanted)
        return std::nullopt;
    if (!done)
        return std::unexpected(done.error());
    return std::move(walk.changes);
}

// Their paths alone.
Result<std::vector<std::string>> changedPaths(ObjectStore& store, const Oid& before, const Oid& after);

} // namespace espalier

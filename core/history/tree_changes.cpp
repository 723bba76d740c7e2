// SPDX-License-Identifier: MIT
#include "core/history/tree_changes.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr int deepest = 2048; // folders within folders; deeper trees are not made by any checkout

class Walk {
  public:
    Walk(ObjectStore& store, const std::function<bool(const std::string&)>& wanted) : m_store(store), m_wanted(wanted) {}

    // False: not wanted.
    Result<bool> compare(const Oid& oldTree, const Oid& newTree, int depth)
    {
        if (oldTree == newTree)
            return true;
        if (depth > deepest)
            return fail(ErrorKind::Broken, "A tree is nested too deeply", newTree.hex());
        Object oldObject, newObject;
        const auto oldEntries = entriesOf(oldTree, oldObject), newEntries = entriesOf(newTree, newObject);
        if (!oldEntries)
            return std::unexpected(oldEntries.error());
        if (!newEntries)
            return std::unexpected(newEntries.error());
        auto left = oldEntries->begin(), right = newEntries->begin();
        while (left != oldEntries->end() || right != newEntries->end()) {
            int order = left == oldEntries->end() ? 1 : right == newEntries->end() ? -1 : 0;
            if (order == 0)
                order = compareTreeNames(left->name, left->isTree(), right->name, right->isTree());
            const TreeEntry* before = order <= 0 ? &*left++ : nullptr;
            const TreeEntry* after = order >= 0 ? &*right++ : nullptr;
            if (before && after && before->id == after->id && before->mode == after->mode)
                continue;
            const auto same = entry(before, after, depth);
            if (!same || !*same)
                return same;
        }
        return true;
    }

    std::vector<PathChange> changes;

  private:
    Result<std::vector<TreeEntry>> entriesOf(const Oid& tree, Object& object)
    {
        if (tree.isZero())
            return std::vector<TreeEntry>();
        auto read = m_store.read(tree, ObjectType::Tree);
        if (!read)
            return std::unexpected(read.error());
        object = std::move(*read);
        return parseTree(object.view());
    }

    Result<bool> entry(const TreeEntry* before, const TreeEntry* after, int depth)
    {
        const std::size_t length = m_path.size();
        m_path += before ? before->name : after->name;
        Result<bool> result = !m_wanted || m_wanted(m_path);
        const bool folder = (before && before->isTree()) || (after && after->isTree());
        if (*result && folder) {
            m_path += '/';
            result = compare(before ? before->id : Oid(), after ? after->id : Oid(), depth + 1);
        } else if (*result) {
            PathChange& change = changes.emplace_back();
            change.path = m_path;
            if (before) {
                change.oldMode = before->mode;
                change.oldId = before->id;
            }
            if (after) {
                change.newMode = after->mode;
                change.newId = after->id;
            }
        }
        m_path.resize(length);
        return result;
    }

    ObjectStore& m_store;
    const std::function<bool(const std::string&)>& m_wanted;
    std::string m_path;
};

} // namespace

Result<std::optional<std::vector<PathChange>>> treeChanges(ObjectStore& store, const Oid& oldTree, const Oid& newTree,
                                                           const std::function<bool(const std::string&)>& wanted)
{
    Walk walk(store, wanted);
    const auto all = walk.compare(oldTree, newTree, 0);
    if (!all)
        return std::unexpected(all.error());
    if (!*all)
        return std::nullopt;
    return std::move(walk.changes);
}

} // namespace espalier

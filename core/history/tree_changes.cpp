// SPDX-License-Identifier: MIT
#include "core/history/tree_changes.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr int deepest = 2048; // folders within folders; deeper trees are not made by any checkout

class Walk {
  public:
    Walk(QuickObjects& objects, const std::function<bool(const std::string&)>& wanted)
        : m_objects(objects), m_wanted(wanted)
    {
    }

    // False: not wanted.
    Result<bool> compare(const Oid& oldTree, const Oid& newTree, int depth)
    {
        if (oldTree == newTree)
            return true;
        if (depth > deepest)
            return fail(ErrorKind::Broken, "A tree is nested too deeply", newTree.hex());
        const auto oldBytes = bytesOf(oldTree), newBytes = bytesOf(newTree);
        if (!oldBytes)
            return std::unexpected(oldBytes.error());
        if (!newBytes)
            return std::unexpected(newBytes.error());
        TreeCursor left(**oldBytes), right(**newBytes);
        for (;;) {
            TreeCursor::skipEqual(left, right);
            if (left.damaged() || right.damaged())
                return fail(ErrorKind::Broken, "A tree is damaged", (left.damaged() ? oldTree : newTree).hex(),
                            "Run git fsck in the repository");
            if (left.atEnd() && right.atEnd())
                return true;
            int order = left.atEnd() ? 1 : right.atEnd() ? -1 : 0;
            if (order == 0)
                order = compareTreeNames(left.entry().name, left.entry().isTree(), right.entry().name,
                                         right.entry().isTree());
            const TreeEntry* before = order <= 0 ? &left.entry() : nullptr;
            const TreeEntry* after = order >= 0 ? &right.entry() : nullptr;
            const auto same = entry(before, after, depth);
            if (!same || !*same)
                return same;
            if (before)
                left.next();
            if (after)
                right.next();
        }
    }

    std::vector<PathChange> changes;

  private:
    Result<std::shared_ptr<const std::string>> bytesOf(const Oid& tree)
    {
        static const auto nothing = std::make_shared<const std::string>();
        if (tree.isZero())
            return nothing;
        return m_objects.read(tree, ObjectType::Tree);
    }

    Result<bool> entry(const TreeEntry* before, const TreeEntry* after, int depth)
    {
        if (before && after && before->id == after->id && before->mode == after->mode)
            return true; // spelled differently, e.g. an old group-writable mode
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

    QuickObjects& m_objects;
    const std::function<bool(const std::string&)>& m_wanted;
    std::string m_path;
};

} // namespace

Result<std::optional<std::vector<PathChange>>> treeChanges(QuickObjects& objects, const Oid& oldTree,
                                                           const Oid& newTree,
                                                           const std::function<bool(const std::string&)>& wanted)
{
    Walk walk(objects, wanted);
    const auto all = walk.compare(oldTree, newTree, 0);
    if (!all)
        return std::unexpected(all.error());
    if (!*all)
        return std::nullopt;
    return std::move(walk.changes);
}

} // namespace espalier

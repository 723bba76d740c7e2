// SPDX-License-Identifier: MIT
#include "core/history/touching.h"

#include "core/history/quick_objects.h"
#include "core/history/reached.h"

#include <unordered_set>

namespace espalier {

namespace {

// The topic's files and the folders above them.
struct Wanted {
    std::unordered_set<std::string> files, folders;

    void add(const std::string& path)
    {
        files.insert(path);
        for (std::size_t at = path.find('/'); at != std::string::npos; at = path.find('/', at + 1))
            folders.insert(path.substr(0, at));
    }
};

class TouchWalk {
  public:
    TouchWalk(QuickObjects& objects, const Wanted& wanted) : m_objects(objects), m_wanted(wanted) {}

    // Whether one of the files differs.
    Result<bool> differs(const Oid& before, const Oid& after)
    {
        m_path.clear();
        m_found = false;
        if (const auto done = compare(before, after, 0); !done && !m_found)
            return std::unexpected(done.error());
        return m_found;
    }

  private:
    Result<std::shared_ptr<const std::string>> tree(const Oid& id)
    {
        static const auto empty = std::make_shared<const std::string>();
        if (id.isZero())
            return empty;
        return m_objects.read(id, ObjectType::Tree);
    }

    Result<void> compare(const Oid& before, const Oid& after, int depth)
    {
        if (before == after)
            return {};
        if (depth > deepestFolder)
            return nestedTooDeeply(m_path);
        const auto a = tree(before), b = tree(after);
        if (!a || !b)
            return std::unexpected(a ? b.error() : a.error());
        return eachDifference(before, **a, after, **b, [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
            const TreeEntry& any = was ? *was : *is;
            const std::size_t length = m_path.size();
            m_path += any.name;
            Result<void> done;
            if (!any.isTree())
                m_found = m_wanted.files.contains(m_path);
            else if (m_wanted.folders.contains(m_path)) {
                m_path += '/';
                done = compare(was ? was->id : Oid(), is ? is->id : Oid(), depth + 1);
            }
            m_path.resize(length);
            // An error that is taken off again above: the quickest way out of every folder.
            return m_found && done ? Result<void>(cancelled()) : done;
        });
    }

    QuickObjects& m_objects;
    const Wanted& m_wanted;
    std::string m_path;
    bool m_found = false;
};

} // namespace

Result<Touching> findTouching(const Repository& repository, const Snapshot& snapshot, Row tip, const Progress& progress)
{
    Touching found;
    const History& history = snapshot.history;
    const Ref* main = snapshot.mainLineRef();
    if (tip >= history.size() || !main || main->row >= history.size())
        return found;
    const std::vector<Row> bases = history.mergeBases(tip, main->row);
    if (bases.empty())
        return found;
    ObjectStore store(repository);
    QuickObjects objects(store);
    std::vector<Oid> parents;
    const auto treeOf = [&](Row row) {
        parents.clear();
        return objects.commit(history.id(row), parents);
    };
    const auto base = treeOf(bases[0]), own = treeOf(tip);
    if (!base || !own)
        return std::unexpected(base ? own.error() : base.error());
    const auto changes = treeChanges(objects, *base, *own);
    if (!changes)
        return std::unexpected(changes.error());
    Wanted wanted;
    for (const PathChange& change : **changes)
        wanted.add(change.path);
    if (wanted.files.empty())
        return found;
    const std::vector<bool> reached = reachedFrom(history, tip);
    TouchWalk walk(objects, wanted);
    auto tree = treeOf(main->row);
    std::size_t steps = 0;
    for (Row row = main->row; !reached[row];) {
        if (progress.stopped())
            return cancelled();
        if (++steps > mostSteps) {
            found.cutOff = true;
            break;
        }
        if (!tree)
            return std::unexpected(tree.error());
        const auto below = history.parents(row);
        if (below.empty())
            break;
        auto older = treeOf(below[0]);
        if (!older)
            return std::unexpected(older.error());
        const auto differs = walk.differs(*older, *tree);
        if (!differs)
            return std::unexpected(differs.error());
        if (*differs)
            found.rows.push_back(row);
        tree = std::move(older);
        row = below[0];
    }
    return found;
}

} // namespace espalier

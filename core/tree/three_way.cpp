// SPDX-License-Identifier: MIT
#include "core/tree/three_way.h"

#include "core/tree/differences.h"

namespace espalier {

namespace {

PathEntry entryOf(const TreeEntry* entry) { return entry ? entry->entry() : PathEntry{}; }

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
            return nestedTooDeeply(prefix);
        const auto o = openTree(m_store, base), a = openTree(m_store, newBase), b = openTree(m_store, commit);
        for (const auto* tree : {&o, &a, &b})
            if (!*tree)
                return std::unexpected(tree->error());
        TreeCursor there(a->view());
        return eachDifference(base, o->view(), commit, b->view(),
                              [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
                                  const TreeEntry& any = was ? *was : *is;
                                  const bool found = there.seek(any.name, any.isTree());
                                  if (there.damaged())
                                      return damagedTree(newBase);
                                  std::string path = prefix + std::string(any.name);
                                  if (!any.isTree()) {
                                      changed.leaves[std::move(path)] = {
                                          entryOf(was), entryOf(found ? &there.entry() : nullptr), entryOf(is)};
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

    ThreeWayChanges changed;

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
            return nestedTooDeeply(prefix);
        const auto o = openTree(m_store, base), a = openTree(m_store, side);
        if (!o || !a)
            return std::unexpected(!o ? o.error() : a.error());
        return eachDifference(base, o->view(), side, a->view(),
                              [&](const TreeEntry* was, const TreeEntry* is) -> Result<void> {
                                  const TreeEntry& any = was ? *was : *is;
                                  std::string path = prefix + std::string(any.name);
                                  if (any.isTree()) {
                                      if (!is)
                                          found.removedFolders.insert(path);
                                      return run(was ? was->id : Oid{}, is ? is->id : Oid{}, path + '/', depth + 1);
                                  }
                                  if (!is)
                                      found.deleted.emplace_back(std::move(path), entryOf(was));
                                  else if (!was)
                                      found.added.emplace_back(std::move(path), entryOf(is));
                                  return {};
                              });
    }

    Departures found;

  private:
    ObjectStore& m_store;
    const Progress& m_progress;
};

} // namespace

Result<ThreeWayChanges> threeWayChanges(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
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

} // namespace espalier

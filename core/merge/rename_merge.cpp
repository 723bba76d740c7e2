// SPDX-License-Identifier: MIT
#include "core/merge/rename_merge.h"

#include "core/tree/lookup.h"

#include <algorithm>

namespace espalier {

namespace {

constexpr std::size_t mostInAHurry = 200'000; // pairs of files; some hundredths of a second
constexpr std::size_t worthKeeping = 1000;    // added files, of which what was renamed is remembered

} // namespace

Result<void> RenameMerger::run()
{
    const auto needs = renameNeeds(m_scene.store, m_scene.base, m_scene.newBase, m_scene.commit, m_scene.progress);
    if (!needs)
        return std::unexpected(needs.error());
    Side newBase, commit;
    commit.ofCommit = true;
    for (Side* side : {&newBase, &commit})
        if (auto done = find(*side, (*needs)[side->ofCommit]); !done)
            return done;
    if (m_scene.options.directoryRenames != MergeOptions::DirectoryRenames::Off) {
        for (Side* side : {&newBase, &commit}) {
            side->moves = directoryMoves(side->found.folders);
            unclearFolders.insert(unclearFolders.end(), side->moves.unclear.begin(), side->moves.unclear.end());
        }
        dropTwiceMoved(newBase.moves, commit.moves);
        if (auto done = listAdded(newBase, commit.moves.to); !done)
            return done;
        if (auto done = listAdded(commit, newBase.moves.to); !done)
            return done;
        if (auto done = takeAlong(newBase, commit); !done)
            return done;
        if (auto done = takeAlong(commit, newBase); !done)
            return done;
    }
    std::vector<Rename> renames;
    for (const Side* side : {&newBase, &commit})
        for (const auto& [source, target] : side->found.to)
            if (matters(*side, source, target))
                renames.push_back({source, target, side->ofCommit});
    std::ranges::stable_sort(renames, {}, &Rename::source);
    return process(renames);
}

// The rest changes nothing: a file renamed by one side and left alone by the other.
bool RenameMerger::matters(const Side& side, const std::string& source, const std::string& target) const
{
    if (m_takenAlong.contains(target))
        return true;
    const auto at = m_entries.find(source);
    return at != m_entries.end() && (!side.ofCommit || at->second.leaves.base != at->second.leaves.newBase);
}

Result<void> RenameMerger::find(Side& side, const RenameNeeds& needs)
{
    if (needs.sources.empty())
        return {};
    std::optional<RenameField> own;
    const RenameField* field = nullptr;
    if (side.ofCommit) {
        auto gone = departures(m_scene.store, m_scene.base, m_scene.commit, m_scene.progress);
        if (!gone)
            return std::unexpected(gone.error());
        field = &own.emplace(std::move(*gone));
    } else {
        if (auto known = m_scene.caches.renames->find(needs.trees, m_scene.options.renameLimit)) {
            side.found = std::move(*known);
            return {};
        }
        const auto kept = newBaseField();
        if (!kept)
            return std::unexpected(kept.error());
        field = *kept;
    }
    const std::size_t mostPairs = m_scene.caches.hurry ? mostInAHurry : 0;
    auto found = findRenames(m_scene.store, *m_scene.caches.similarity, *field, needs,
                             {m_scene.options.renameLimit, mostPairs}, m_scene.progress);
    m_scene.caches.putOff |= !found && !m_scene.progress.stopped() && found.error().kind == ErrorKind::Cancelled;
    if (!found)
        return std::unexpected(found.error());
    side.found = std::move(*found);
    if (!side.ofCommit && field->targets().size() > worthKeeping)
        m_scene.caches.renames->keep(needs.trees, m_scene.options.renameLimit, side.found);
    return {};
}

Result<const RenameField*> RenameMerger::newBaseField()
{
    auto& fields = m_scene.caches.fields;
    const std::pair key{m_scene.base, m_scene.newBase};
    for (const auto& [known, field] : fields)
        if (known == key)
            return &field;
    auto gone = departures(m_scene.store, m_scene.base, m_scene.newBase, m_scene.progress);
    if (!gone)
        return std::unexpected(gone.error());
    fields.emplace_front(key, RenameField(std::move(*gone)));
    if (fields.size() > 2)
        fields.pop_back();
    return &fields.front().second;
}

// ---- renamed directories

Result<void> RenameMerger::listAdded(Side& side, const std::map<std::string, std::string>& moves)
{
    if (moves.empty())
        return {};
    std::set<std::string> added;
    if (side.ofCommit) {
        for (const auto& [path, entry] : m_entries)
            if (!entry.leaves.base.exists() && entry.leaves.commit.exists())
                added.insert(path);
    } else {
        for (const auto& [folder, to] : moves) {
            const auto was = treeAt(m_scene.store, m_scene.base, folder),
                       is = treeAt(m_scene.store, m_scene.newBase, folder);
            if (!was || !is)
                return std::unexpected(!was ? was.error() : is.error());
            const auto inside = departures(m_scene.store, *was, *is, m_scene.progress);
            if (!inside)
                return std::unexpected(inside.error());
            for (const auto& [path, leaf] : inside->added)
                added.insert(folder + "/" + path);
        }
    }
    side.added.assign(added.begin(), added.end());
    side.arrivals = arrivals(side.added, moves);
    return {};
}

// Moves what the side put into directories that the other one renamed; git's check_for_directory_rename.
Result<void> RenameMerger::takeAlong(Side& side, const Side& other)
{
    for (const std::string& from : side.added) {
        const auto taken = takenAlong(from, other.moves.to);
        // Not into what the side itself has renamed, and not what the other side would move here.
        if (!taken || other.arrivals.contains(from) || side.moves.to.contains(taken->folder))
            continue;
        const auto occupied = inTheWay(side, taken->path);
        if (!occupied)
            return std::unexpected(occupied.error());
        if (*occupied || side.arrivals.at(taken->path).size() > 1) {
            blocked.insert(from);
            continue;
        }
        if (auto done = moveEntry(side, from, taken->path); !done)
            return done;
        for (auto& [source, target] : side.found.to)
            if (target == from)
                target = taken->path;
    }
    return {};
}

Result<bool> RenameMerger::inTheWay(const Side& side, const std::string& path)
{
    const Oid& tree = side.ofCommit ? m_scene.commit : m_scene.newBase;
    const auto at = m_entries.find(path);
    const auto leaf = at != m_entries.end()
                          ? Result<PathEntry>(side.ofCommit ? at->second.leaves.commit : at->second.leaves.newBase)
                          : fileAt(m_scene.store, tree, path);
    const auto folder = treeAt(m_scene.store, tree, path);
    if (!leaf || !folder)
        return std::unexpected(!leaf ? leaf.error() : folder.error());
    return leaf->exists() || !folder->isZero();
}

Result<void> RenameMerger::moveEntry(const Side& side, const std::string& from, const std::string& to)
{
    const auto old = entryAt(from), entry = entryAt(to);
    if (!old || !entry)
        return std::unexpected(!old ? old.error() : entry.error());
    auto ofSide = side.ofCommit ? &ThreeLeaves::commit : &ThreeLeaves::newBase;
    (*entry)->movedAlone = (*entry)->leaves == ThreeLeaves();
    (*entry)->movedByCommit = side.ofCommit;
    (*entry)->leaves.*ofSide = (*old)->leaves.*ofSide;
    (*entry)->movedFrom = from;
    (*entry)->unsettled |= m_scene.options.directoryRenames == MergeOptions::DirectoryRenames::Conflict;
    m_takenAlong.insert(to);
    if (side.ofCommit) {
        m_entries.erase(from);
    } else {
        **old = MergeEntry();
        (*old)->gone = true;
    }
    return {};
}

// ---- renamed files

Result<MergeEntry*> RenameMerger::entryAt(const std::string& path)
{
    if (const auto at = m_entries.find(path); at != m_entries.end())
        return &at->second;
    ThreeLeaves leaves;
    for (const auto& [tree, leaf] :
         {std::pair{&m_scene.base, &leaves.base}, std::pair{&m_scene.newBase, &leaves.newBase},
          std::pair{&m_scene.commit, &leaves.commit}}) {
        const auto found = fileAt(m_scene.store, *tree, path);
        if (!found)
            return std::unexpected(found.error());
        *leaf = *found;
    }
    return &m_entries.emplace(path, MergeEntry(leaves)).first->second;
}

Result<void> RenameMerger::process(const std::vector<Rename>& renames)
{
    for (std::size_t i = 0; i < renames.size(); ++i) {
        const Rename& rename = renames[i];
        const auto source = entryAt(rename.source);
        if (!source)
            return std::unexpected(source.error());
        const bool both = i + 1 < renames.size() && renames[i + 1].source == rename.source;
        if ((*source)->gone)
            continue;
        const auto done =
            both ? renamedByBoth(rename.source, rename.target, renames[i + 1].target) : renamedByOne(rename);
        if (!done)
            return done;
        i += both;
    }
    return {};
}

Result<void> RenameMerger::renamedByBoth(const std::string& source, const std::string& target,
                                         const std::string& otherTarget)
{
    const auto at = entryAt(source), first = entryAt(target), second = entryAt(otherTarget);
    if (!at || !first || !second)
        return std::unexpected(!at ? at.error() : !first ? first.error() : second.error());
    if (target == otherTarget) {
        (*first)->leaves.base = (*at)->leaves.base;
        (*at)->gone = true;
        return {};
    }
    // Each side gave it another name: the contents are merged and stand under both names until one is chosen.
    MergeEntry whole({(*at)->leaves.base, (*first)->leaves.newBase, (*second)->leaves.commit});
    whole.ancestorPath = source;
    whole.newBasePath = target;
    whole.commitPath = otherTarget;
    const auto merged = m_paths.mergeLeaves(source, whole, 1);
    if (!merged)
        return std::unexpected(merged.error());
    // What cannot be merged stays as each side has it.
    const bool kept = !merged->clean && merged->leaf == whole.leaves.newBase;
    (*first)->leaves.newBase = merged->leaf;
    (*second)->leaves.commit = kept ? whole.leaves.commit : merged->leaf;
    const std::string* const paths[] = {&source, &target, &otherTarget};
    MergeEntry* const entries[] = {*at, *first, *second};
    for (std::size_t i = 0; i < 3; ++i) {
        entries[i]->unsettled = true;
        entries[i]->kind = ConflictKind::RenamedTwice;
        for (std::size_t j = 0; j < 3; ++j)
            if (j != i)
                entries[i]->otherPaths.push_back(*paths[j]);
    }
    return {};
}

Result<void> RenameMerger::renamedByOne(const Rename& rename)
{
    const auto old = entryAt(rename.source), entry = entryAt(rename.target);
    if (!old || !entry)
        return std::unexpected(!old ? old.error() : entry.error());
    const auto own = rename.ofCommit ? &ThreeLeaves::commit : &ThreeLeaves::newBase;
    const auto others = rename.ofCommit ? &ThreeLeaves::newBase : &ThreeLeaves::commit;
    const PathEntry renamed = (*entry)->leaves.*own, stayed = (*old)->leaves.*others;
    // A file on one side, something else on the other: that is a thing of its own, and the file was deleted there.
    const bool otherKind = stayed.exists() && isRegularFile(stayed.mode) != isRegularFile(renamed.mode);
    const bool collides = ((*entry)->leaves.*others).exists() && !otherKind;
    (*entry)->otherPaths.push_back(rename.source);
    if (collides && stayed.exists()) {
        // Another file has the name: the renamed one is merged with its own past first, then the two meet.
        MergeEntry inner({(*old)->leaves.base, rename.ofCommit ? stayed : renamed, rename.ofCommit ? renamed : stayed});
        inner.ancestorPath = rename.source;
        inner.newBasePath = rename.ofCommit ? rename.source : rename.target;
        inner.commitPath = rename.ofCommit ? rename.target : rename.source;
        const auto merged = m_paths.mergeLeaves(rename.source, inner, 1);
        if (!merged)
            return std::unexpected(merged.error());
        (*entry)->leaves.*own = merged->leaf;
        (*entry)->kind = (*entry)->kind ? ConflictKind::RenamedTogether : ConflictKind::RenamedAndAdded;
    } else if (collides) {
        (*entry)->kind = ConflictKind::RenamedAndAdded;
        (*entry)->unsettled = true;
    } else {
        (*entry)->leaves.base = (*old)->leaves.base;
        (*entry)->ancestorPath = rename.source;
        if (otherKind) {
            (*old)->leaves.base = {};
        } else if (!stayed.exists()) {
            (*entry)->kind = ConflictKind::RenamedAndDeleted;
            (*entry)->unsettled = true;
        } else {
            (*entry)->leaves.*others = stayed;
            (rename.ofCommit ? (*entry)->newBasePath : (*entry)->commitPath) = rename.source;
        }
    }
    (*old)->gone |= !otherKind;
    return {};
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/merge/rename_walk.h"

#include "core/merge/directory_renames.h"
#include "core/merge/hash_order.h"
#include "core/merge/traversal_order.h"
#include "core/tree/differences.h"

#include <algorithm>

namespace espalier {

namespace {

// Bits for a side in masks: base 1, new base 2, commit 4, as git has them.
constexpr int baseBit = 1, newBaseBit = 2, commitBit = 4, everyBit = 7;

// What the three have at one name: a file or a folder each, or nothing.
struct Name {
    std::array<PathEntry, 3> files, folders;
    std::array<PathEntry, 3> atName() const
    {
        std::array<PathEntry, 3> all = files;
        for (std::size_t i = 0; i < 3; ++i)
            if (!all[i].exists())
                all[i] = folders[i];
        return all;
    }
    static int maskOf(const std::array<PathEntry, 3>& leaves)
    {
        return int(leaves[0].exists()) * baseBit + int(leaves[1].exists()) * newBaseBit +
               int(leaves[2].exists()) * commitBit;
    }
};

// Which two of three are the same: their bits, all bits, or 0.
int sameOf(const std::array<PathEntry, 3>& at)
{
    const bool newBaseStays = at[0].exists() && at[0] == at[1], commitStays = at[0].exists() && at[0] == at[2];
    if (newBaseStays)
        return commitStays ? everyBit : baseBit + newBaseBit;
    if (commitStays)
        return baseBit + commitBit;
    return at[1].exists() && at[1] == at[2] ? newBaseBit + commitBit : 0;
}

class NeedsWalk {
  public:
    NeedsWalk(ObjectStore& store, const Progress& progress) : m_store(store), m_progress(progress) {}

    // `asking`: git's dir_rename_mask. The bit of the side that still has a folder which the other removed; every bit below
    // one into which that side put a file.
    Result<void> run(const std::array<Oid, 3>& trees, const std::string& folder, int asking, int depth)
    {
        if (m_progress.stopped())
            return cancelled();
        if (depth > deepestFolder)
            return fail(ErrorKind::Unsupported, "The folders are nested too deeply", folder.substr(0, 200));
        auto names = namesThatDiffer(trees);
        if (!names)
            return std::unexpected(names.error());
        if (asking == newBaseBit || asking == commitBit)
            for (const auto& [name, at] : *names)
                if (Name::maskOf(at.files) == asking)
                    asking = everyBit;
        const auto order = ordered(*names, trees);
        if (!order)
            return std::unexpected(order.error());
        for (const Names::value_type* at : *order)
            if (auto done = visit(at->first, at->second, folder, asking, depth); !done)
                return done;
        return {};
    }

    std::array<RenameNeeds, 2> needs;

  private:
    using Names = std::map<std::string, Name>;

    // As git comes upon them; reading whole folders for it is rarely needed.
    Result<std::vector<const Names::value_type*>> ordered(const Names& names, const std::array<Oid, 3>& trees)
    {
        std::vector<const Names::value_type*> order;
        bool ambiguous = false;
        for (const auto& at : names) {
            ambiguous = ambiguous || (!order.empty() && at.first.starts_with(order.back()->first) &&
                                      at.first[order.back()->first.size()] < '/');
            order.push_back(&at);
        }
        if (!ambiguous)
            return order;
        const auto all = namesInOrder(m_store, trees);
        if (!all)
            return std::unexpected(all.error());
        order.clear();
        for (const std::string& name : *all)
            if (const auto at = names.find(name); at != names.end())
                order.push_back(&*at);
        return order;
    }

    // Only names that are not the same in all three.
    Result<Names> namesThatDiffer(const std::array<Oid, 3>& trees)
    {
        Names names;
        std::array<std::map<std::string, std::array<bool, 2>>, 2> seen;
        for (std::size_t side = 1; side < 3; ++side) {
            const auto done =
                eachDifference(m_store, trees[0], trees[side], [&](const TreeEntry* was, const TreeEntry* is) {
                    const TreeEntry& any = was ? *was : *is;
                    Name& at = names[std::string(any.name)];
                    auto& leaves = any.isTree() ? at.folders : at.files;
                    if (was)
                        leaves[0] = {was->mode, was->id};
                    leaves[side] = is ? PathEntry{is->mode, is->id} : PathEntry{};
                    seen[side - 1][std::string(any.name)][any.isTree()] = true;
                });
            if (!done)
                return std::unexpected(done.error());
        }
        // Where only one side differs, the other has what the base has.
        for (auto& [name, at] : names)
            for (std::size_t side = 1; side < 3; ++side)
                for (const bool isTree : {false, true})
                    if (const auto found = seen[side - 1].find(name);
                        found == seen[side - 1].end() || !found->second[isTree])
                        (isTree ? at.folders : at.files)[side] = (isTree ? at.folders : at.files)[0];
        return names;
    }

    Result<void> visit(const std::string& name, const Name& at, const std::string& folder, int asking, int depth)
    {
        const auto leaves = at.atName();
        const int fileMask = Name::maskOf(at.files), folderMask = Name::maskOf(at.folders), same = sameOf(leaves);
        if (fileMask == everyBit && same != 0)
            return {};
        const std::string path = folder.empty() ? name : folder + "/" + name;
        if (asking != everyBit && (folderMask == baseBit + newBaseBit || folderMask == baseBit + commitBit))
            asking = folderMask & ~baseBit;
        noteFolder(path, folder, folderMask, fileMask, asking);
        noteFile(path, fileMask, same & fileMask, asking);
        if (folderMask == 0)
            return {};
        // Where one side left everything alone, what is inside matters for renames of the other one at most.
        int only = same == baseBit + newBaseBit ? 2 : same == baseBit + commitBit ? 1 : 0;
        if (fileMask == 0 && (folderMask == newBaseBit || folderMask == commitBit))
            only = folderMask / 2;
        if (asking != everyBit && only != 0) {
            needs[std::size_t(only - 1)].later.push_back(path + "/");
            return {};
        }
        return run({at.folders[0].id, at.folders[1].id, at.folders[2].id}, path, asking, depth + 1);
    }

    void noteFolder(const std::string& path, const std::string& folder, int folderMask, int fileMask, int asking)
    {
        const auto use = asking == everyBit ? FolderUse::Ancestor : FolderUse::None;
        if (folderMask & baseBit)
            for (std::size_t side = 0; side < 2; ++side)
                if (!(folderMask & (newBaseBit << side)))
                    needs[side].folders[path] = use;
        if (asking == everyBit && (fileMask == newBaseBit || fileMask == commitBit))
            needs[fileMask == newBaseBit ? 1 : 0].folders[folder] = FolderUse::Self;
    }

    void noteFile(const std::string& path, int fileMask, int same, int asking)
    {
        if (!(fileMask & baseBit) || fileMask == everyBit)
            return;
        for (std::size_t side = 0; side < 2; ++side)
            if (!(fileMask & (newBaseBit << side)) && (same == 0 || asking == everyBit))
                needs[side].sources[path] = same == 0;
    }

    ObjectStore& m_store;
    const Progress& m_progress;
};

} // namespace

Result<std::array<RenameNeeds, 2>> renameNeeds(ObjectStore& store, const Oid& base, const Oid& newBase,
                                               const Oid& commit, const Progress& progress)
{
    NeedsWalk walk(store, progress);
    if (auto done = walk.run({base, newBase, commit}, {}, 0, 0); !done)
        return std::unexpected(done.error());
    for (RenameNeeds& needs : walk.needs) {
        needs.trees = {base, newBase, commit};
        std::vector<std::string_view> names;
        for (const std::string& folder : needs.later)
            names.push_back(std::string_view(folder).substr(0, folder.size() - 1));
        std::vector<std::string> ordered;
        for (const std::size_t i : hashOrder(names))
            ordered.push_back(needs.later[i]);
        needs.later = std::move(ordered);
    }
    return std::move(walk.needs);
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/conflicts/path_sides.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/merge/text_merge.h"
#include "core/tree/lookup.h"

#include <algorithm>

namespace espalier {

namespace {

// A help to decide, not an inventory. Folders count as well: few trees can stand for billions of empty ones.
constexpr std::size_t mostInFolder = 1000;

std::size_t linesIn(std::string_view text)
{
    const auto ends = std::size_t(std::ranges::count(text, '\n'));
    return ends + (text.empty() || text.back() == '\n' ? 0 : 1);
}

std::string sizeWords(std::size_t bytes)
{
    if (bytes < 10'000)
        return counted(bytes, "byte", "bytes");
    if (bytes < 10'000'000)
        return std::to_string(bytes / 1000) + " kB";
    return std::to_string(bytes / 1'000'000) + " MB";
}

struct Listing {
    std::vector<std::string> paths;
    std::size_t folders = 0;
    bool full() const { return paths.size() > mostInFolder || folders > mostInFolder; }
};

// The paths of files below a folder, in tree order. The walk ends where there is too much to be shown.
Result<void> listFolder(ObjectStore& store, const Oid& tree, const std::string& prefix, Listing& listing)
{
    ++listing.folders;
    const auto object = store.read(tree, ObjectType::Tree);
    if (!object)
        return std::unexpected(object.error());
    const auto entries = parseTree(object->view());
    if (!entries)
        return std::unexpected(entries.error());
    for (const TreeEntry& entry : *entries) {
        if (listing.full())
            return {};
        const std::string path = prefix + std::string(entry.name);
        if (!entry.isTree())
            listing.paths.push_back(path);
        else if (auto below = listFolder(store, entry.id, path + "/", listing); !below)
            return below;
    }
    return {};
}

Result<void> fillFolder(ObjectStore& store, const Oid& tree, PathSide& side, const std::string& name)
{
    Listing listing;
    if (auto listed = listFolder(store, tree, side.path + "/", listing); !listed)
        return listed;
    const bool more = listing.paths.size() > mostInFolder;
    std::vector<std::string>& paths = listing.paths;
    paths.resize(std::min(paths.size(), mostInFolder));
    side.words = name + ", a folder with " +
                 (listing.folders > mostInFolder ? "more than " + std::to_string(mostInFolder) + " folders"
                                                 : (more ? "more than " : "") + counted(paths.size(), "file", "files"));
    for (const std::string& path : paths)
        side.contents += displayText(path) + "\n";
    return {};
}

Result<PathSide> sideOf(ObjectStore& store, FileMode mode, const Oid& id, const std::string& path)
{
    PathSide side{mode, path, {}, {}, false};
    const std::string name = displayText(path, 60);
    if (mode == FileMode::Submodule) { // its commit is in another repository
        side.words = name + ", a submodule at " + id.brief();
        return side;
    }
    if (mode == FileMode::Tree) {
        if (auto filled = fillFolder(store, id, side, name); !filled)
            return std::unexpected(filled.error());
        return side;
    }
    const auto blob = store.read(id, ObjectType::Blob);
    if (!blob)
        return std::unexpected(blob.error());
    side.contents = *blob->bytes;
    side.binary = isBinary(side.contents);
    const std::string kind = mode == FileMode::Symlink      ? "a symbolic link"
                             : mode == FileMode::Executable ? "an executable file"
                                                            : "a file";
    if (mode == FileMode::Symlink)
        side.words = name + ", " + kind;
    else if (side.contents.empty())
        side.words = name + ", " + kind + " without contents";
    else if (side.binary)
        side.words = name + ", " + kind + " of " + sizeWords(side.contents.size()) + ", no text";
    else
        side.words = name + ", " + kind + " of " + counted(linesIn(side.contents), "line", "lines");
    return side;
}

// What stands at a path of a tree; mode None: nothing.
Result<PathSide> sideInTree(ObjectStore& store, const Oid& tree, const std::string& path)
{
    const auto entry = entryAt(store, tree, path);
    if (!entry)
        return std::unexpected(entry.error());
    if (!entry->exists())
        return PathSide{};
    return sideOf(store, entry->mode, entry->id, path);
}

std::string wordsForNothing(const PathConflict& conflict)
{
    switch (conflict.kind) {
    case ConflictKind::DeletedByNewBase:
    case ConflictKind::DeletedByCommit:
    case ConflictKind::RenamedAndDeleted:
        return "Nothing: it is deleted here";
    case ConflictKind::DirectoryRenamed:
        return "Nothing: this side only renames the folder";
    default:
        return "Nothing stands here";
    }
}

// A question that is asked once may be several paths of the merge; each side's file is at one of them.
ConflictStage stageOf(const ReplayedCommit& replayed, const Conflict& conflict, ConflictStage PathConflict::* side)
{
    const auto named = [side](const PathConflict& of) {
        ConflictStage stage = of.*side;
        if (stage.exists() && stage.path.empty())
            stage.path = of.path;
        return stage;
    };
    ConflictStage stage = named(conflict.path);
    for (const Conflict& other : replayed.conflicts)
        if (!stage.exists() && std::ranges::contains(conflict.path.otherPaths, other.path.path) &&
            other.path.kind == conflict.path.kind && other.ownChange == conflict.ownChange)
            stage = named(other.path);
    return stage;
}

} // namespace

Result<PathSides> pathSides(ObjectStore& store, const ReplayedCommit& replayed, const Conflict& conflict,
                            const std::string& path)
{
    const auto commit = readCommit(store, replayed.id);
    if (!commit)
        return std::unexpected(commit.error());
    const auto read = [&](ConflictStage PathConflict::* which, const Oid& tree) -> Result<PathSide> {
        const ConflictStage stage = stageOf(replayed, conflict, which);
        // Under a made-up name the merge puts a file aside; people know it by its own.
        const ConflictKind kind = conflict.path.kind;
        const bool aside = kind == ConflictKind::FileAndDirectory || kind == ConflictKind::TypeDiffers;
        const std::string& at = stage.exists() && !aside ? stage.path : path;
        // A file that was renamed twice stands in the merge with what both changed in it: here each side has its own.
        if (!tree.isZero() && (!stage.exists() || kind == ConflictKind::RenamedTwice)) {
            auto own = sideInTree(store, tree, at);
            const bool folder = own && own->mode == FileMode::Tree;
            if (!own || (own->exists() && (stage.exists() || folder)))
                return own;
        }
        if (stage.exists())
            return sideOf(store, stage.mode, stage.id, at);
        PathSide nothing;
        nothing.path = at;
        nothing.words = wordsForNothing(conflict.path);
        return nothing;
    };
    auto ancestor = read(&PathConflict::ancestor, Oid());
    auto newBase = read(&PathConflict::newBase, replayed.newBaseTree);
    auto yours = read(&PathConflict::commit, commit->tree);
    if (!ancestor || !newBase || !yours)
        return std::unexpected(!ancestor ? ancestor.error() : !newBase ? newBase.error() : yours.error());
    return PathSides{std::move(*ancestor), std::move(*newBase), std::move(*yours)};
}

} // namespace espalier

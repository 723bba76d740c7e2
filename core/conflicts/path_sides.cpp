// SPDX-License-Identifier: MIT
#include "core/conflicts/path_sides.h"

#include "core/conflicts/file_kind.h"
#include "core/conflicts/submodule_commits.h"
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

// Where a link leads in a tree, from root to name; nothing when that is outside of it.
std::optional<std::string> placeOfLink(const std::string& link, std::string_view target)
{
    std::vector<std::string_view> parts;
    const auto add = [&](std::string_view path) {
        while (!path.empty()) {
            const std::size_t end = std::min(path.find('/'), path.size());
            const std::string_view part = path.substr(0, end);
            path.remove_prefix(std::min(end + 1, path.size()));
            if (part == "..") {
                if (parts.empty())
                    return false;
                parts.pop_back();
            } else if (!part.empty() && part != ".") {
                parts.push_back(part);
            }
        }
        return true;
    };
    const std::size_t folder = link.rfind('/');
    if (target.starts_with('/') || !add(folder == std::string::npos ? "" : std::string_view(link).substr(0, folder)) ||
        !add(target))
        return std::nullopt;
    std::string place;
    for (const std::string_view part : parts)
        place += (place.empty() ? "" : "/") + std::string(part);
    return place;
}

std::string thingAt(FileMode mode)
{
    switch (mode) {
    case FileMode::None:
        return "nothing stands there";
    case FileMode::Tree:
        return "a folder";
    case FileMode::Symlink:
        return "a symbolic link";
    case FileMode::Submodule:
        return "a submodule";
    case FileMode::Executable:
        return "an executable file";
    default:
        return "a file";
    }
}

// What is at the end of a link in the tree of its side.
Result<void> followLink(ObjectStore& store, const Oid& tree, PathSide& side)
{
    if (side.mode != FileMode::Symlink || tree.isZero())
        return {};
    const auto place = placeOfLink(side.path, side.target);
    if (!place) {
        side.words += " that leads out of the repository";
        return {};
    }
    const auto entry = place->empty() ? PathEntry{FileMode::Tree, tree} : entryAt(store, tree, *place);
    if (!entry)
        return std::unexpected(entry.error());
    const std::string shown = place->empty() ? "the whole repository" : displayText(*place, 60);
    side.words += " to " + shown + (place->empty() ? "" : ": " + thingAt(entry->mode));
    return {};
}

// How the lines of a text end and in what it is written, where the sides differ in it; their modes too.
void sayForms(PathSides& sides)
{
    const auto isText = [](const PathSide& side) { return isRegularFile(side.mode) && !side.binary; };
    PathSide &newBase = sides.newBase, &commit = sides.commit;
    if (isText(newBase) && isText(commit)) {
        const TextForm left = formOf(newBase.contents), right = formOf(commit.contents);
        if (lineEndsDiffer(left, right))
            for (const auto& [side, form] : {std::pair{&newBase, left}, {&commit, right}})
                side->words += ", " + std::string(lineEndsName(form.lineEnds));
        if (encodingsDiffer(left, right))
            for (const auto& [side, form] : {std::pair{&newBase, left}, {&commit, right}})
                side->words += ", " + std::string(encodingName(form.encoding));
    }
    if (isRegularFile(newBase.mode) && isRegularFile(commit.mode) && newBase.mode != commit.mode)
        for (PathSide* side : {&newBase, &commit})
            side->words += side->mode == FileMode::Executable ? ", mode 100755" : ", mode 100644";
    if (isRegularFile(newBase.mode) && isRegularFile(commit.mode) && newBase.contents == commit.contents)
        for (PathSide* side : {&newBase, &commit})
            side->words += ", the same contents on both sides";
}

// .gitmodules of the new base names its submodules, and the commit's own what it has put in.
Result<void> nameCommits(ObjectStore& store, const Oid& newBaseTree, const Oid& commitTree, PathSides& sides,
                         const std::string& path, const Progress& progress)
{
    if (sides.newBase.mode != FileMode::Submodule && sides.commit.mode != FileMode::Submodule)
        return {};
    std::string gitmodules;
    for (const Oid& tree : {newBaseTree, commitTree}) {
        const auto entry = fileAt(store, tree, ".gitmodules");
        if (!entry)
            return std::unexpected(entry.error());
        if (!isRegularFile(entry->mode))
            continue;
        const auto blob = store.read(entry->id, ObjectType::Blob);
        if (!blob)
            return std::unexpected(blob.error());
        gitmodules += *blob->bytes + '\n';
    }
    const auto named = [](const PathSide& side) { return side.mode == FileMode::Submodule ? side.id : Oid(); };
    SubmoduleSides found =
        submoduleSides(store.repository(), gitmodules, path, named(sides.newBase), named(sides.commit), progress);
    for (const auto& [side, words] : {std::pair{&sides.newBase, &found.newBase}, {&sides.commit, &found.commit}})
        if (side->mode == FileMode::Submodule) {
            side->words = displayText(side->path, 60) + ", a submodule " + words->words;
            side->contents = std::move(words->lines);
        }
    return {};
}

Result<PathSide> sideOf(ObjectStore& store, FileMode mode, const Oid& id, const std::string& path)
{
    PathSide side;
    side.mode = mode;
    side.id = id;
    side.path = path;
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
    const std::size_t bytes = side.contents.size();
    FileKind known;
    side.binary = mode != FileMode::Symlink && isBinary(side.contents);
    if (auto text = side.binary ? textOfUtf16(side.contents) : std::nullopt) {
        known.words = "a text in UTF-16";
        side.contents = std::move(*text);
        side.binary = false;
    } else if (side.binary || !isUtf8(side.contents)) {
        known = fileKind(side.contents);
        side.binary = side.binary || !known.words.empty();
        side.image = known.image;
    }
    const std::string kind = mode == FileMode::Symlink      ? "a symbolic link"
                             : mode == FileMode::Executable ? "an executable file"
                                                            : "a file";
    if (mode == FileMode::Symlink) {
        side.words = name + ", " + kind;
        side.target = side.contents;
    } else if (side.contents.empty())
        side.words = name + ", " + kind + " without contents";
    else if (side.binary)
        side.words = name + ", " + (known.words.empty() ? kind : std::string(known.words)) + " of " + sizeWords(bytes) +
                     (known.words.empty()            ? ", no text"
                      : mode == FileMode::Executable ? ", executable"
                                                     : "");
    else
        side.words = name + ", " + (known.words.empty() ? kind : std::string(known.words)) + " of " +
                     counted(linesIn(side.contents), "line", "lines");
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
                            const std::string& path, const Progress& progress)
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
    PathSides sides{std::move(*ancestor), std::move(*newBase), std::move(*yours)};
    auto done =
        followLink(store, replayed.newBaseTree, sides.newBase)
            .and_then([&] { return followLink(store, commit->tree, sides.commit); })
            .and_then([&] { return nameCommits(store, replayed.newBaseTree, commit->tree, sides, path, progress); });
    if (!done)
        return std::unexpected(done.error());
    sayForms(sides);
    return sides;
}

} // namespace espalier

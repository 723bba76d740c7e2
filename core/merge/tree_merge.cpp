// SPDX-License-Identifier: MIT
#include "core/merge/tree_merge.h"

#include "core/merge/merge_driver.h"
#include "core/merge/rename_merge.h"
#include "core/tree/differences.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <charconv>
#include <set>

namespace espalier {

MergeCaches::MergeCaches() : m_data(std::make_unique<Data>()) {}
MergeCaches MergeCaches::beside(const MergeCaches& other)
{
    MergeCaches caches;
    caches.data().similarity = other.data().similarity;
    caches.data().renames = other.data().renames;
    return caches;
}

void MergeCaches::setHurry(bool hurry)
{
    m_data->hurry = hurry;
    m_data->putOff = false;
}
bool MergeCaches::putOff() const { return m_data->putOff; }

MergeCaches::~MergeCaches() = default;
MergeCaches::MergeCaches(MergeCaches&&) noexcept = default;
MergeCaches& MergeCaches::operator=(MergeCaches&&) noexcept = default;

std::string_view conflictKindName(ConflictKind kind)
{
    switch (kind) {
    case ConflictKind::Text:
        return "text";
    case ConflictKind::BothAdded:
        return "both-added";
    case ConflictKind::DeletedByNewBase:
        return "deleted-by-new-base";
    case ConflictKind::DeletedByCommit:
        return "deleted-by-commit";
    case ConflictKind::Binary:
        return "binary";
    case ConflictKind::TypeDiffers:
        return "type-differs";
    case ConflictKind::FileAndDirectory:
        return "file-and-directory";
    case ConflictKind::RenamedTwice:
        return "renamed-twice";
    case ConflictKind::RenamedTogether:
        return "renamed-together";
    case ConflictKind::RenamedAndDeleted:
        return "renamed-and-deleted";
    case ConflictKind::RenamedAndAdded:
        return "renamed-and-added";
    case ConflictKind::Submodule:
        return "submodule";
    default:
        return "directory-renamed";
    }
}

namespace {

// As git reads a number of the configuration: with k, m or g behind it, and nothing from what is not one.
std::optional<int> numberOf(const std::string& text)
{
    int number = 0;
    const char* const end = text.data() + text.size();
    const auto read = std::from_chars(text.data(), end, number);
    if (read.ec != std::errc() || end - read.ptr > 1)
        return std::nullopt;
    if (read.ptr == end)
        return number;
    const char unit = char(*read.ptr | 0x20);
    const long long factor = unit == 'k' ? 1ll << 10 : unit == 'm' ? 1ll << 20 : unit == 'g' ? 1ll << 30 : 0;
    const long long whole = number * factor;
    return factor == 0 || whole != int(whole) ? std::nullopt : std::optional(int(whole));
}

bool sameWord(std::string_view text, std::string_view word)
{
    return std::ranges::equal(text, word,
                              [](char a, char b) { return (a >= 'A' && a <= 'Z' ? char(a + 32) : a) == b; });
}

} // namespace

MergeOptions MergeOptions::of(const Repository& repository)
{
    MergeOptions options;
    options.renames = repository.configBool("merge.renames", repository.configBool("diff.renames", true));
    for (const char* key : {"diff.renameLimit", "merge.renameLimit"})
        if (const auto value = repository.config(key))
            options.renameLimit = numberOf(*value).value_or(options.renameLimit);
    if (const auto value = repository.config("merge.directoryRenames"); value && !sameWord(*value, "conflict")) {
        // What later versions may know besides these changes nothing.
        const bool yes = repository.configBool("merge.directoryRenames", false);
        const bool no = !repository.configBool("merge.directoryRenames", true);
        options.directoryRenames = yes  ? DirectoryRenames::Follow
                                   : no ? DirectoryRenames::Off
                                        : DirectoryRenames::Conflict;
    }
    options.defaultDriver = repository.config("merge.default").value_or("");
    options.renormalize = repository.configBool("merge.renormalize", false);
    options.guessesLines =
        repository.configBool("core.autocrlf", false) || repository.config("core.autocrlf") == "input";
    options.drivers = configuredDrivers(repository);
    return options;
}

namespace {

class TreeMerger {
  public:
    explicit TreeMerger(const MergeScene& scene) : m_scene(scene), m_paths(scene), m_renames(scene, m_paths, m_entries)
    {
    }

    Result<TreeMerge> run()
    {
        if (m_scene.base == m_scene.commit || m_scene.newBase == m_scene.commit) {
            m_result.tree = m_scene.newBase;
            return std::move(m_result);
        }
        if (m_scene.base == m_scene.newBase) {
            if (auto there = m_scene.store.read(m_scene.commit, ObjectType::Tree); !there)
                return std::unexpected(there.error());
            m_result.tree = m_scene.commit;
            return std::move(m_result);
        }
        if (auto done = readChanges(); !done)
            return std::unexpected(done.error());
        for (const auto& [path, entry] : m_entries) {
            if (m_scene.progress.stopped())
                return cancelled();
            if (auto done = m_paths.settle(path, entry); !done)
                return std::unexpected(done.error());
        }
        return finish();
    }

  private:
    // Folders that only the commit changed are taken whole. Where renames matter every path in them counts, though.
    Result<void> readChanges()
    {
        auto changed = changesOf(false);
        if (!changed)
            return std::unexpected(changed.error());
        const auto renames = renamesMatter(changed->leaves);
        if (!renames)
            return std::unexpected(renames.error());
        if (*renames && !changed->folders.empty()) {
            changed = changesOf(true);
            if (!changed)
                return std::unexpected(changed.error());
        }
        for (const auto& [path, tree] : changed->folders)
            m_paths.edits[path] = {FileMode::Tree, tree};
        for (const auto& [path, leaves] : changed->leaves)
            m_entries.emplace_hint(m_entries.end(), path, MergeEntry(leaves));
        return *renames ? m_renames.run() : Result<void>();
    }

    Result<ThreeWayChanges> changesOf(bool everyLeaf)
    {
        return threeWayChanges(m_scene.store, m_scene.base, m_scene.newBase, m_scene.commit, everyLeaf,
                               m_scene.progress);
    }

    // ---- whether renames can matter: a quick look at what the commit changed

    Result<bool> renamesMatter(const LeavesByPath& changed)
    {
        if (!m_scene.options.renames)
            return false;
        for (const auto& [path, leaves] : changed) {
            // The new base has the file no longer, or the commit took away what the new base changed.
            if (leaves.base.exists() &&
                (!leaves.newBase.exists() || (!leaves.commit.exists() && leaves.base != leaves.newBase)))
                return true;
        }
        return folderMatters(changed);
    }

    Result<bool> goneFrom(const Oid& side, const std::string& folder)
    {
        const auto was = treeAt(m_scene.store, m_scene.base, folder), is = treeAt(m_scene.store, side, folder);
        if (!was || !is)
            return std::unexpected(!was ? was.error() : is.error());
        return !was->isZero() && is->isZero();
    }

    // Whether one side has a folder no longer into which the other side put something.
    Result<bool> folderMatters(const LeavesByPath& changed)
    {
        std::set<std::string_view> seenAdded, seenDeleted;
        for (const auto& [path, leaves] : changed) {
            const bool added = !leaves.base.exists() && leaves.commit.exists() && !leaves.newBase.exists();
            if (added && !folderOf(path).empty() && seenAdded.insert(folderOf(path)).second) {
                const auto gone = goneFrom(m_scene.newBase, std::string(folderOf(path)));
                if (!gone || *gone)
                    return gone;
            }
            if (!leaves.base.exists() || leaves.commit.exists())
                continue;
            for (std::string_view folder = folderOf(path); !folder.empty(); folder = folderOf(folder)) {
                if (!seenDeleted.insert(folder).second)
                    break;
                const auto matters = newBasePutInto(std::string(folder));
                if (!matters || *matters)
                    return matters;
            }
        }
        return false;
    }

    // A folder that the commit removed and into which the new base put a file.
    Result<bool> newBasePutInto(const std::string& folder)
    {
        const auto gone = goneFrom(m_scene.commit, folder);
        if (!gone || !*gone)
            return gone;
        const auto was = treeAt(m_scene.store, m_scene.base, folder),
                   is = treeAt(m_scene.store, m_scene.newBase, folder);
        if (!was || !is)
            return std::unexpected(!was ? was.error() : is.error());
        if (is->isZero() || *was == *is)
            return false;
        bool put = false;
        const auto done = eachDifference(m_scene.store, *was, *is, [&](const TreeEntry* before, const TreeEntry* now) {
            put |= now && !now->isTree() && !before;
        });
        return done ? Result<bool>(put) : std::unexpected(done.error());
    }

    // ---- the whole

    Result<TreeMerge> finish()
    {
        std::vector<Displaced> displaced;
        // The directory stays; the file is the other side's.
        const auto aside = [this](const std::string& path) {
            const auto directory = treeAt(m_scene.store, m_scene.newBase, path);
            return PathMerger::asideOf(path, directory && !directory->isZero() ? m_scene.options.commitLabel
                                                                               : m_scene.options.newBaseLabel);
        };
        auto tree = editTree(m_scene.store, m_scene.newBase, m_paths.edits, aside, displaced);
        if (!tree)
            return std::unexpected(tree.error());
        m_result.tree = *tree;
        m_result.conflicts = std::move(m_paths.conflicts);
        m_result.notAsGit = std::move(m_paths.notAsGit);
        for (const Displaced& moved : displaced)
            noteDisplaced(moved);
        leaveOutOldNames();
        noteUnclearDirectories();
        std::ranges::sort(m_result.conflicts, {}, &PathConflict::path);
        for (const PathConflict& conflict : m_result.conflicts) {
            int number = 0;
            for (const ConflictStage* stage : {&conflict.ancestor, &conflict.newBase, &conflict.commit}) {
                ++number;
                if (stage->exists())
                    m_result.stages.push_back({conflict.path, number, stage->mode, stage->id});
            }
        }
        for (const auto& [path, leaf] : m_paths.edits)
            m_result.touched.push_back(path);
        return std::move(m_result);
    }

    // The old name of a file with two new ones is a folder's now: it is no question any more.
    void leaveOutOldNames()
    {
        std::erase_if(m_result.conflicts, [this](const PathConflict& conflict) {
            if (conflict.kind != ConflictKind::RenamedTwice || conflict.newBase.exists() || conflict.commit.exists())
                return false;
            const auto folder = treeAt(m_scene.store, m_result.tree, conflict.path);
            return folder && !folder->isZero();
        });
    }

    // git calls these merges unclean but names no path with stages: where a file belongs is open.
    void noteUnclearDirectories()
    {
        std::set<std::string> paths = m_renames.blocked;
        if (m_result.conflicts.empty() && paths.empty())
            paths.insert(m_renames.unclearFolders.begin(), m_renames.unclearFolders.end());
        for (const std::string& path : paths) {
            if (std::ranges::contains(m_result.conflicts, path, &PathConflict::path))
                continue;
            PathConflict conflict;
            conflict.path = path;
            conflict.kind = ConflictKind::DirectoryRenamed;
            if (const auto held = fileAt(m_scene.store, m_result.tree, path); held && held->exists()) {
                conflict.held = *held;
            }
            m_result.conflicts.push_back(std::move(conflict));
        }
    }

    void noteDisplaced(const Displaced& moved)
    {
        const auto known = std::ranges::find(m_result.conflicts, moved.path, &PathConflict::path);
        if (known != m_result.conflicts.end()) {
            known->path = moved.newPath;
            known->kind = ConflictKind::FileAndDirectory;
            return;
        }
        PathConflict conflict;
        conflict.path = moved.newPath;
        conflict.kind = ConflictKind::FileAndDirectory;
        const auto folder = treeAt(m_scene.store, m_scene.newBase, moved.path);
        const bool ofCommit = folder && !folder->isZero();
        (ofCommit ? conflict.commit : conflict.newBase) = {moved.entry, moved.path};
        conflict.held = moved.entry;
        conflict.otherPaths = {moved.path};
        m_result.conflicts.push_back(std::move(conflict));
    }

    const MergeScene& m_scene;
    MergeEntries m_entries;
    PathMerger m_paths;
    RenameMerger m_renames;
    TreeMerge m_result;
};

} // namespace

Result<TreeMerge> mergeTrees(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                             const MergeOptions& options, MergeCaches& caches, const Progress& progress)
{
    const MergeScene scene{store, base, newBase, commit, options, caches.data(), progress};
    return TreeMerger(scene).run();
}

Result<ConflictTexts> conflictTexts(ObjectStore& store, const PathConflict& conflict)
{
    static const auto nothing = std::make_shared<const std::string>();
    ConflictTexts texts{nothing, nothing, nothing, conflict.text};
    for (const auto& [stage, into] :
         {std::pair{&conflict.ancestor, &texts.ancestor}, std::pair{&conflict.newBase, &texts.newBase},
          std::pair{&conflict.commit, &texts.commit}}) {
        // An ancestor that was a link, say, has no text to compare with.
        if (!isRegularFile(stage->mode))
            continue;
        const auto object = store.read(stage->id, ObjectType::Blob);
        if (!object)
            return std::unexpected(object.error());
        *into = object->bytes;
    }
    if (!texts.merge)
        texts.merge = std::make_shared<const TextMerge>(mergeTexts(*texts.ancestor, *texts.newBase, *texts.commit));
    return texts;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/merge/tree_merge.h"

#include "core/merge/attributes.h"
#include "core/merge/directory_renames.h"
#include "core/merge/renames.h"
#include "core/merge/tree_walk.h"

#include <algorithm>
#include <charconv>
#include <deque>
#include <set>

namespace espalier {

struct MergeCaches::Data {
    SimilarityCache similarity;
    MergeAttributes attributes;
    // What a side deleted and added, for the last few pairs of trees: within a replay the new base's barely changes.
    std::deque<std::pair<std::pair<Oid, Oid>, Departures>> departures;
};

MergeCaches::MergeCaches() : m_data(std::make_unique<Data>()) {}
MergeCaches::~MergeCaches() = default;
MergeCaches::MergeCaches(MergeCaches&&) noexcept = default;
MergeCaches& MergeCaches::operator=(MergeCaches&&) noexcept = default;

std::string_view conflictKindName(ConflictKind kind)
{
    switch (kind) {
    case ConflictKind::Text: return "text";
    case ConflictKind::BothAdded: return "both-added";
    case ConflictKind::DeletedByNewBase: return "deleted-by-new-base";
    case ConflictKind::DeletedByCommit: return "deleted-by-commit";
    case ConflictKind::Binary: return "binary";
    case ConflictKind::TypeDiffers: return "type-differs";
    case ConflictKind::FileAndDirectory: return "file-and-directory";
    case ConflictKind::RenamedTwice: return "renamed-twice";
    case ConflictKind::RenamedTogether: return "renamed-together";
    case ConflictKind::RenamedAndDeleted: return "renamed-and-deleted";
    case ConflictKind::RenamedAndAdded: return "renamed-and-added";
    case ConflictKind::Submodule: return "submodule";
    default: return "directory-renamed";
    }
}

MergeOptions MergeOptions::of(const Repository& repository)
{
    MergeOptions options;
    options.renames = repository.configBool("merge.renames", repository.configBool("diff.renames", true));
    for (const char* key : {"diff.renameLimit", "merge.renameLimit"})
        if (const auto value = repository.config(key))
            std::from_chars(value->data(), value->data() + value->size(), options.renameLimit);
    if (const auto value = repository.config("merge.directoryRenames"))
        options.directoryRenames = *value == "conflict"                       ? DirectoryRenames::Conflict
                                   : *value == "false" || *value == "no" || *value == "off" ? DirectoryRenames::Off
                                                                              : DirectoryRenames::Follow;
    return options;
}

namespace {

bool isRegular(const Leaf& leaf) { return leaf.mode == FileMode::File || leaf.mode == FileMode::Executable; }

// The kinds that cannot turn into each other without a decision.
int kindOf(const Leaf& leaf) { return isRegular(leaf) ? 1 : leaf.mode == FileMode::Symlink ? 2 : 3; }

// One path that is left to merge once renames are known, with the names its sides have it under.
struct Item {
    ThreeLeaves leaves;
    std::string ancestorPath, newBasePath, commitPath;
    std::optional<ConflictKind> forced; // a conflict that renames alone make
    std::vector<std::string> otherPaths;
    std::optional<std::string> heldText; // a rename's own merge, before it meets what else is at its name
};

class TreeMerger {
  public:
    TreeMerger(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit, const MergeOptions& options,
               MergeCaches& caches, const Progress& progress)
        : m_store(store), m_base(base), m_newBase(newBase), m_commit(commit), m_options(options),
          m_caches(caches.data()), m_progress(progress)
    {
    }

    Result<TreeMerge> run()
    {
        if (m_base == m_commit || m_newBase == m_commit) {
            m_result.tree = m_newBase;
            return std::move(m_result);
        }
        if (m_base == m_newBase) {
            if (auto there = m_store.read(m_commit, ObjectType::Tree); !there)
                return std::unexpected(there.error());
            m_result.tree = m_commit;
            return std::move(m_result);
        }
        if (auto done = readChanges(); !done)
            return std::unexpected(done.error());
        for (auto& [path, leaves] : m_changed)
            m_items.try_emplace(path, Item{leaves, path, path, path, {}, {}, {}});
        for (const std::string& gone : m_gone)
            if (m_items[gone].leaves == ThreeLeaves{})
                m_edits.leaves[gone] = {};
        for (auto& [path, item] : m_items) {
            if (m_progress.stopped())
                return cancelled();
            if (auto done = settle(path, item); !done)
                return std::unexpected(done.error());
        }
        return finish();
    }

  private:
    // Folders that only the commit changed are taken whole. Where renames matter every path in them counts, though.
    Result<void> readChanges()
    {
        auto changed = changedPaths(m_store, m_base, m_newBase, m_commit, false, m_progress);
        if (!changed)
            return std::unexpected(changed.error());
        m_changed = std::move(changed->leaves);
        bool renamesMatter = false;
        if (m_options.renames) {
            if (auto done = askForDirectories(); !done)
                return done;
            renamesMatter = !m_askedOfNewBase.empty() || !m_askedOfCommit.empty() ||
                            std::ranges::any_of(m_changed, [](const auto& change) {
                                return newBaseRenameMatters(change.second) || commitRenameMatters(change.second);
                            });
        }
        if (!renamesMatter) {
            for (const auto& [path, tree] : changed->folders)
                m_edits.leaves[path] = {FileMode::Tree, tree};
            return {};
        }
        if (!changed->folders.empty()) {
            changed = changedPaths(m_store, m_base, m_newBase, m_commit, true, m_progress);
            if (!changed)
                return std::unexpected(changed.error());
            m_changed = std::move(changed->leaves);
        }
        return renameBothSides();
    }

    // ---- renames

    // The new base has the file no longer: under which name?
    static bool newBaseRenameMatters(const ThreeLeaves& leaves)
    {
        return leaves.base.exists() && !leaves.newBase.exists();
    }
    // The commit took away what the new base changed.
    static bool commitRenameMatters(const ThreeLeaves& leaves)
    {
        return leaves.base.exists() && !leaves.commit.exists() && leaves.base != leaves.newBase;
    }

    Result<const Departures*> newBaseDepartures()
    {
        const std::pair key{m_base, m_newBase};
        for (const auto& [known, found] : m_caches.departures)
            if (known == key)
                return &found;
        auto found = departures(m_store, m_base, m_newBase, m_progress);
        if (!found)
            return std::unexpected(found.error());
        m_caches.departures.emplace_front(key, std::move(*found));
        if (m_caches.departures.size() > 4)
            m_caches.departures.pop_back();
        return &m_caches.departures.front().second;
    }

    // Only paths that matter are looked for: on the new base's side those that the commit changed and the new base lacks,
    // on the commit's side those that it deleted and the new base changed.
    Result<void> renameBothSides()
    {
        bool newBaseMatters = false, commitMatters = false;
        Departures ofCommit;
        for (const auto& [path, leaves] : m_changed) {
            newBaseMatters |= newBaseRenameMatters(leaves);
            commitMatters |= commitRenameMatters(leaves);
            if (leaves.base.exists() && !leaves.commit.exists()) {
                ofCommit.deleted.emplace_back(path, leaves.base);
            } else if (!leaves.base.exists() && leaves.commit.exists()) {
                ofCommit.added.emplace_back(path, leaves.commit);
            }
        }
        const auto below = [](const std::set<std::string>& folders, const std::string& path) {
            for (std::string_view folder = folderOf(path); !folder.empty(); folder = folderOf(folder))
                if (folders.contains(std::string(folder)))
                    return true;
            return false;
        };
        std::map<std::string, std::string> byNewBase, byCommit;
        if (newBaseMatters || !m_askedOfNewBase.empty()) {
            const auto gone = newBaseDepartures();
            if (!gone)
                return std::unexpected(gone.error());
            auto found = findRenames(m_store, m_caches.similarity, **gone,
                                     [&](const std::string& path) {
                                         return m_changed.contains(path) || below(m_askedOfNewBase, path);
                                     },
                                     m_options.renameLimit, m_progress);
            if (!found)
                return std::unexpected(found.error());
            byNewBase = std::move(*found);
        }
        const auto stays = [this](const std::string& path) {
            const ThreeLeaves& leaves = m_changed.at(path);
            return leaves.base == leaves.newBase;
        };
        if (commitMatters || !m_askedOfCommit.empty()) {
            auto found = findRenames(m_store, m_caches.similarity, ofCommit,
                                     [&](const std::string& path) {
                                         return !stays(path) || below(m_askedOfCommit, path);
                                     },
                                     m_options.renameLimit, m_progress);
            if (!found)
                return std::unexpected(found.error());
            byCommit = std::move(*found);
        }
        DirectoryMoves newBaseMoves = directoryMoves(byNewBase, m_askedOfNewBase);
        DirectoryMoves commitMoves = directoryMoves(byCommit, m_askedOfCommit);
        m_unclear = newBaseMoves.unclear || commitMoves.unclear;
        // A directory that both sides renamed is left to the renames of its files.
        for (auto at = newBaseMoves.to.begin(); at != newBaseMoves.to.end();)
            at = commitMoves.to.erase(at->first) ? newBaseMoves.to.erase(at) : std::next(at);
        if (auto done = takeAlong(newBaseMoves.to, commitMoves.to, byCommit, true); !done)
            return done;
        if (auto done = takeAlong(commitMoves.to, newBaseMoves.to, byNewBase, false); !done)
            return done;
        // The rest changes nothing: a file renamed by one side and left alone by the other.
        std::erase_if(byNewBase, [this](const auto& rename) {
            return !m_changed.contains(rename.first) && !m_movedFrom.contains(rename.second);
        });
        std::erase_if(byCommit, [&](const auto& rename) {
            return stays(rename.first) && !m_movedFrom.contains(rename.second);
        });
        return takeRenames(byNewBase, byCommit);
    }

    // ---- renamed directories

    Result<bool> goneFrom(const Oid& side, const std::string& folder)
    {
        const auto was = treeAt(m_store, m_base, folder), is = treeAt(m_store, side, folder);
        if (!was || !is)
            return std::unexpected(!was ? was.error() : is.error());
        return !was->isZero() && is->isZero();
    }

    // Directories that one side has no longer and into which the other side put something.
    Result<void> askForDirectories()
    {
        if (m_options.directoryRenames == MergeOptions::DirectoryRenames::Off)
            return {};
        std::set<std::string> seenAdded, seenDeleted;
        for (const auto& [path, leaves] : m_changed) {
            const bool added = !leaves.base.exists() && leaves.commit.exists() && !leaves.newBase.exists();
            if (added && seenAdded.emplace(folderOf(path)).second && !folderOf(path).empty()) {
                const auto gone = goneFrom(m_newBase, std::string(folderOf(path)));
                if (!gone)
                    return std::unexpected(gone.error());
                if (*gone)
                    m_askedOfNewBase.emplace(folderOf(path));
            }
            if (!leaves.base.exists() || leaves.commit.exists())
                continue;
            for (std::string_view folder = folderOf(path); !folder.empty(); folder = folderOf(folder)) {
                if (!seenDeleted.emplace(folder).second)
                    break;
                if (auto done = askOfCommit(std::string(folder)); !done)
                    return done;
            }
        }
        return {};
    }

    Result<void> askOfCommit(const std::string& folder)
    {
        const auto gone = goneFrom(m_commit, folder);
        if (!gone)
            return std::unexpected(gone.error());
        if (!*gone)
            return {};
        const auto was = treeAt(m_store, m_base, folder), is = treeAt(m_store, m_newBase, folder);
        if (!was || !is)
            return std::unexpected(!was ? was.error() : is.error());
        if (is->isZero() || *was == *is)
            return {};
        auto found = departures(m_store, *was, *is, m_progress);
        if (!found)
            return std::unexpected(found.error());
        for (const auto& [path, leaf] : found->added) {
            m_addedByNewBase.emplace(folder + "/" + path, leaf);
            if (!path.contains('/'))
                m_askedOfCommit.insert(folder);
        }
        return {};
    }

    // Moves what one side put into directories that the other renamed. `renames` are those of the side that added.
    Result<void> takeAlong(const std::map<std::string, std::string>& moves,
                           const std::map<std::string, std::string>& ownMoves,
                           std::map<std::string, std::string>& renames, bool ofCommit)
    {
        if (moves.empty())
            return {};
        std::map<std::string, Leaf> added;
        if (ofCommit) {
            for (const auto& [path, leaves] : m_changed)
                if (!leaves.base.exists() && leaves.commit.exists())
                    added.emplace(path, leaves.commit);
        } else {
            added = m_addedByNewBase;
        }
        std::map<std::string, std::vector<std::string>> sources;
        for (const auto& [path, leaf] : added)
            if (const std::string to = movedPath(path, moves); !to.empty() && !ownMoves.contains(std::string(folderOf(to))))
                sources[to].push_back(path);
        for (const auto& [to, paths] : sources) {
            const Oid& side = ofCommit ? m_commit : m_newBase;
            const auto leaf = leafAt(m_store, side, to);
            const auto folder = treeAt(m_store, side, to);
            if (!leaf || !folder)
                return std::unexpected(!leaf ? leaf.error() : folder.error());
            if (paths.size() > 1 || leaf->exists() || !folder->isZero()) {
                m_blocked.insert(paths.begin(), paths.end());
                continue;
            }
            auto there = leavesAt(to);
            if (!there)
                return std::unexpected(there.error());
            const std::string& from = paths.front();
            (ofCommit ? there->commit : there->newBase) = added.at(from);
            m_changed.erase(from);
            if (!ofCommit)
                m_gone.insert(from);
            m_changed[to] = *there;
            m_movedFrom[to] = from;
            for (auto& [source, target] : renames)
                if (target == from)
                    target = to;
        }
        return {};
    }

    Result<void> takeRenames(const std::map<std::string, std::string>& byNewBase,
                             const std::map<std::string, std::string>& byCommit)
    {
        for (const auto& [source, target] : byNewBase) {
            const auto other = byCommit.find(source);
            if (other != byCommit.end()) {
                if (auto done = renamedByBoth(source, target, other->second); !done)
                    return done;
            } else if (auto done = renamedByOne(source, target, true); !done) {
                return done;
            }
        }
        for (const auto& [source, target] : byCommit)
            if (!byNewBase.contains(source))
                if (auto done = renamedByOne(source, target, false); !done)
                    return done;
        return {};
    }

    // What all three have at a path, whether the commit changed it or not.
    Result<ThreeLeaves> leavesAt(const std::string& path)
    {
        if (const auto at = m_changed.find(path); at != m_changed.end())
            return at->second;
        ThreeLeaves leaves;
        for (const auto& [tree, leaf] : {std::pair{m_base, &leaves.base}, std::pair{m_newBase, &leaves.newBase},
                                         std::pair{m_commit, &leaves.commit}}) {
            const auto found = leafAt(m_store, tree, path);
            if (!found)
                return std::unexpected(found.error());
            *leaf = *found;
        }
        return leaves;
    }

    Item& itemAt(const std::string& path, const ThreeLeaves& leaves)
    {
        return m_items.try_emplace(path, Item{leaves, path, path, path, {}, {}, {}}).first->second;
    }

    void leaveSource(const std::string& source)
    {
        m_changed.erase(source);
        m_gone.insert(source);
    }

    Result<void> renamedByBoth(const std::string& source, const std::string& target, const std::string& otherTarget)
    {
        const auto at = leavesAt(source), first = leavesAt(target), second = leavesAt(otherTarget);
        if (!at || !first || !second)
            return std::unexpected(!at ? at.error() : !first ? first.error() : second.error());
        if (target == otherTarget) {
            Item& item = itemAt(target, *first);
            item.leaves = {at->base, first->newBase, first->commit};
            item.ancestorPath = source;
            leaveSource(source);
            return {};
        }
        // Each side gave it another name: the contents are merged and stand under both names until one is chosen.
        Item whole{{at->base, first->newBase, second->commit}, source, target, otherTarget, {}, {}, {}};
        auto merged = mergeLeaf(source, whole, 1);
        if (!merged)
            return std::unexpected(merged.error());
        const Leaf held = merged->leaf;
        // What cannot be merged stays as each side has it.
        const Leaf heldOther = !merged->clean && held == first->newBase ? second->commit : held;
        leaveSource(source);
        const auto note = [&](const std::string& path, ThreeLeaves stages, Leaf heldLeaf) {
            Item& item = itemAt(path, stages);
            item.leaves = stages;
            item.forced = ConflictKind::RenamedTwice;
            item.otherPaths = {source, target, otherTarget};
            std::erase(item.otherPaths, path);
            m_forcedHeld[path] = heldLeaf;
            m_changed.erase(path);
        };
        m_gone.erase(source);
        note(source, {at->base, {}, {}}, {});
        note(target, {{}, held, {}}, held);
        note(otherTarget, {{}, {}, heldOther}, heldOther);
        return {};
    }

    Result<void> renamedByOne(const std::string& source, const std::string& target, bool byNewBase)
    {
        const auto at = leavesAt(source), there = leavesAt(target);
        if (!at || !there)
            return std::unexpected(!at ? at.error() : there.error());
        const Leaf renamed = byNewBase ? there->newBase : there->commit;
        const Leaf stayed = byNewBase ? at->commit : at->newBase;
        const Leaf atTarget = byNewBase ? there->commit : there->newBase;
        const bool collides = atTarget.exists() && !there->base.exists();
        // A file on one side, something else on the other: that is a thing of its own, and the file was deleted there.
        const bool otherKind = stayed.exists() && isRegular(stayed) != isRegular(renamed);
        Item& item = itemAt(target, *there);
        if (otherKind && !collides) {
            item.leaves.base = at->base;
            item.ancestorPath = source;
            // Even unchanged it is a conflict: what the other side did with the name is no answer to the rename.
            item.forced = byNewBase ? ConflictKind::DeletedByCommit : ConflictKind::DeletedByNewBase;
            item.otherPaths = {source};
            m_forcedHeld[target] = renamed;
            itemAt(source, *at).leaves.base = {};
            return {};
        }
        if (!otherKind)
            leaveSource(source);
        if (!stayed.exists() || otherKind) {
            if (!collides) {
                item.leaves.base = at->base;
                item.ancestorPath = source;
            }
            item.forced = collides ? ConflictKind::RenamedAndAdded : ConflictKind::RenamedAndDeleted;
            item.otherPaths = {source};
            if (!collides)
                m_forcedHeld[target] = renamed;
            return {};
        }
        ThreeLeaves own{at->base, byNewBase ? renamed : stayed, byNewBase ? stayed : renamed};
        if (!collides) {
            item.leaves = own;
            item.ancestorPath = source;
            (byNewBase ? item.commitPath : item.newBasePath) = source;
            return {};
        }
        // Another file has the name: the renamed one is merged with its own past first, then the two meet.
        Item inner{own, source, byNewBase ? target : source, byNewBase ? source : target, {}, {}, {}};
        auto merged = mergeLeaf(source, inner, 1);
        if (!merged)
            return std::unexpected(merged.error());
        const bool second = item.forced.has_value();
        (byNewBase ? item.leaves.newBase : item.leaves.commit) = merged->leaf;
        item.leaves.base = {};
        item.forced = second ? ConflictKind::RenamedTogether : ConflictKind::RenamedAndAdded;
        item.otherPaths.push_back(source);
        return {};
    }

    // ---- one path

    struct Merged {
        Leaf leaf;
        bool clean = true;
        std::optional<ConflictKind> kind;
        std::vector<TextHunk> hunks;
    };

    // Contents and mode of something that both sides have. git's handle_content_merge.
    Result<Merged> mergeLeaf(const std::string& path, const Item& item, int extraMarker = 0)
    {
        const auto& [o, a, b] = item.leaves;
        Merged merged;
        if (a == b || o == b) {
            merged.leaf = a;
            return merged;
        }
        if (o == a) {
            merged.leaf = b;
            return merged;
        }
        if (kindOf(a) != kindOf(b)) {
            merged = {a, false, ConflictKind::TypeDiffers, {}};
            return merged;
        }
        merged.leaf.mode = a.mode == b.mode || a.mode == o.mode ? b.mode : a.mode;
        merged.clean = merged.leaf.mode == b.mode && (a.mode == b.mode || a.mode == o.mode || b.mode == o.mode);
        if (!(a.mode == b.mode || a.mode == o.mode)) {
            merged.clean = b.mode == o.mode;
            if (!merged.clean)
                merged.kind = ConflictKind::TypeDiffers;
        }
        const bool sameKind = o.exists() && kindOf(o) == kindOf(a);
        if (a.id == b.id || (o.exists() && a.id == o.id)) {
            merged.leaf.id = b.id;
        } else if (o.exists() && b.id == o.id) {
            merged.leaf.id = a.id;
        } else if (!isRegular(a)) {
            merged = {a, false, a.mode == FileMode::Submodule ? ConflictKind::Submodule : ConflictKind::TypeDiffers, {}};
        } else {
            return mergeText(path, item, sameKind, std::move(merged), extraMarker);
        }
        return merged;
    }

    Result<Merged> mergeText(const std::string& path, const Item& item, bool withAncestor, Merged merged,
                             int extraMarker)
    {
        const auto read = [this](const Leaf& leaf) -> Result<std::string_view> {
            if (!leaf.exists())
                return std::string_view();
            auto object = m_store.read(leaf.id, ObjectType::Blob);
            if (!object)
                return std::unexpected(object.error());
            m_texts.push_back(object->bytes);
            return std::string_view(*m_texts.back());
        };
        m_texts.clear();
        const auto o = read(withAncestor ? item.leaves.base : Leaf{}), a = read(item.leaves.newBase),
                   b = read(item.leaves.commit);
        for (const auto* text : {&o, &a, &b})
            if (!*text)
                return std::unexpected(text->error());
        const auto attributes = m_caches.attributes.of(m_store, m_newBase, path);
        if (!attributes)
            return std::unexpected(attributes.error());
        TextMergeOptions options;
        options.newBaseLabel = labelFor(m_options.newBaseLabel, item, item.newBasePath);
        options.commitLabel = labelFor(m_options.commitLabel, item, item.commitPath);
        options.markerSize = attributes->markerSize + extraMarker;
        options.favour = attributes->driver == MergeAttribute::Union ? TextFavour::Union : TextFavour::None;
        TextMerge text;
        text.binary = attributes->driver == MergeAttribute::Binary;
        if (!text.binary)
            text = mergeTexts(*o, *a, *b, options);
        if (text.binary) {
            merged.leaf.id = item.leaves.newBase.id;
            merged.clean = false;
            merged.kind = ConflictKind::Binary;
            return merged;
        }
        if (!text.clean()) {
            merged.clean = false;
            merged.kind = withAncestor ? ConflictKind::Text : ConflictKind::BothAdded;
            merged.hunks = std::move(text.hunks);
        }
        merged.leaf.id = m_store.add(ObjectType::Blob, std::move(text.bytes));
        return merged;
    }

    // git adds the path to the label when the sides' names differ.
    static std::string labelFor(const std::string& label, const Item& item, const std::string& path)
    {
        const bool oneName = item.newBasePath == item.commitPath && item.newBasePath == item.ancestorPath;
        return oneName ? label : label + ":" + path;
    }

    // A path that a renamed directory took along is a conflict unless it is one already or the user wants it so.
    Result<void> settle(const std::string& path, Item& item)
    {
        const auto moved = m_movedFrom.find(path);
        const std::size_t before = m_result.conflicts.size();
        if (auto done = settleItem(path, item); !done)
            return done;
        if (moved == m_movedFrom.end() || m_options.directoryRenames != MergeOptions::DirectoryRenames::Conflict ||
            m_result.conflicts.size() > before)
            return {};
        item.otherPaths.push_back(moved->second);
        return conflict(path, item, ConflictKind::DirectoryRenamed, m_edits.leaves[path], {});
    }

    Result<void> settleItem(const std::string& path, Item& item)
    {
        const auto& [o, a, b] = item.leaves;
        const bool oneSide = !a.exists() || !b.exists();
        if (item.forced && (oneSide || item.forced == ConflictKind::RenamedTwice)) {
            const auto held = m_forcedHeld.find(path);
            const Leaf leaf = held != m_forcedHeld.end() ? held->second : a.exists() ? a : b;
            m_edits.leaves[path] = leaf;
            return conflict(path, item, *item.forced, leaf, {});
        }
        if (!a.exists() && !b.exists()) {
            m_edits.leaves[path] = {};
            return {};
        }
        if (oneSide) {
            const Leaf& side = a.exists() ? a : b;
            if (!o.exists() || side == o) {
                // Added by one side, or deleted by one and left alone by the other.
                m_edits.leaves[path] = o.exists() ? Leaf{} : side;
                return {};
            }
            m_edits.leaves[path] = side;
            return conflict(path, item, a.exists() ? ConflictKind::DeletedByCommit : ConflictKind::DeletedByNewBase,
                            side, {});
        }
        auto merged = mergeLeaf(path, item);
        if (!merged)
            return std::unexpected(merged.error());
        m_edits.leaves[path] = merged->leaf;
        if (merged->clean && !item.forced)
            return {};
        if (merged->clean && a == b)
            return {};
        if (merged->kind == ConflictKind::TypeDiffers && kindOf(a) != kindOf(b))
            return apart(path, item);
        const ConflictKind kind = item.forced ? *item.forced : merged->kind.value_or(ConflictKind::TypeDiffers);
        return conflict(path, item, kind, merged->leaf, std::move(merged->hunks));
    }

    // git's unique_path.
    static std::string asideOf(const std::string& path, std::string label)
    {
        for (char& c : label)
            if (c == '/' || c == ' ')
                c = '_';
        return path + '~' + label;
    }

    // Two kinds of things at one path: the regular file goes aside under another name, as in git.
    Result<void> apart(const std::string& path, Item& item)
    {
        const bool newBaseMoves = isRegular(item.leaves.newBase);
        const std::string name = asideOf(path, newBaseMoves ? m_options.newBaseLabel : m_options.commitLabel);
        const Leaf moving = newBaseMoves ? item.leaves.newBase : item.leaves.commit;
        const Leaf staying = newBaseMoves ? item.leaves.commit : item.leaves.newBase;
        m_edits.leaves[path] = staying;
        m_edits.leaves[name] = moving;
        Item moved = item, stayed = item;
        (newBaseMoves ? moved.leaves.commit : moved.leaves.newBase) = {};
        (newBaseMoves ? stayed.leaves.newBase : stayed.leaves.commit) = {};
        const int baseKind = item.leaves.base.exists() ? kindOf(item.leaves.base) : 0;
        if (baseKind != kindOf(moving))
            moved.leaves.base = {};
        if (baseKind != kindOf(staying))
            stayed.leaves.base = {};
        moved.otherPaths = {path};
        stayed.otherPaths = {name};
        if (auto done = conflict(name, moved, ConflictKind::TypeDiffers, moving, {}); !done)
            return done;
        if (isRegular(moving))
            return conflict(path, stayed, ConflictKind::TypeDiffers, staying, {});
        // A symlink and a submodule: neither keeps the name.
        const std::string other = asideOf(path, m_options.newBaseLabel);
        m_edits.leaves[path] = {};
        m_edits.leaves[other] = staying;
        return conflict(other, stayed, ConflictKind::TypeDiffers, staying, {});
    }

    Result<void> conflict(const std::string& path, const Item& item, ConflictKind kind, const Leaf& held,
                          std::vector<TextHunk> hunks)
    {
        PathConflict conflict;
        conflict.path = path;
        conflict.kind = kind;
        const auto stage = [](const Leaf& leaf, const std::string& at) {
            return leaf.exists() ? ConflictStage{leaf.mode, leaf.id, at} : ConflictStage{};
        };
        conflict.ancestor = stage(item.leaves.base, item.ancestorPath);
        conflict.newBase = stage(item.leaves.newBase, item.newBasePath);
        conflict.commit = stage(item.leaves.commit, item.commitPath);
        conflict.heldMode = held.mode;
        conflict.held = held.id;
        conflict.hunks = std::move(hunks);
        conflict.otherPaths = item.otherPaths;
        m_result.conflicts.push_back(std::move(conflict));
        return {};
    }

    // ---- the whole

    Result<TreeMerge> finish()
    {
        std::vector<Displaced> displaced;
        // The directory stays; the file is the other side's.
        const auto aside = [this](const std::string& path) {
            const auto directory = treeAt(m_store, m_newBase, path);
            return asideOf(path, directory && !directory->isZero() ? m_options.commitLabel : m_options.newBaseLabel);
        };
        auto tree = applyEdits(m_store, m_newBase, m_edits, aside, displaced);
        if (!tree)
            return std::unexpected(tree.error());
        m_result.tree = *tree;
        for (const Displaced& moved : displaced)
            noteDisplaced(moved);
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
        for (const auto& [path, leaf] : m_edits.leaves)
            m_result.touched.push_back(path);
        return std::move(m_result);
    }

    // git calls these merges unclean but names no path with stages: where a file belongs is open.
    void noteUnclearDirectories()
    {
        std::set<std::string> paths = m_blocked;
        if (m_unclear && m_result.conflicts.empty() && paths.empty())
            for (const auto* asked : {&m_askedOfNewBase, &m_askedOfCommit})
                paths.insert(asked->begin(), asked->end());
        for (const std::string& path : paths) {
            if (std::ranges::contains(m_result.conflicts, path, &PathConflict::path))
                continue;
            PathConflict conflict;
            conflict.path = path;
            conflict.kind = ConflictKind::DirectoryRenamed;
            if (const auto held = leafAt(m_store, m_result.tree, path); held && held->exists()) {
                conflict.heldMode = held->mode;
                conflict.held = held->id;
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
        const auto edit = m_edits.leaves.find(moved.path);
        const bool fromCommit = edit != m_edits.leaves.end() && edit->second == moved.leaf;
        (fromCommit ? conflict.commit : conflict.newBase) = {moved.leaf.mode, moved.leaf.id, moved.path};
        if (const auto base = leafAt(m_store, m_base, moved.path); base && base->exists())
            conflict.ancestor = {base->mode, base->id, moved.path};
        conflict.heldMode = moved.leaf.mode;
        conflict.held = moved.leaf.id;
        conflict.otherPaths = {moved.path};
        m_result.conflicts.push_back(std::move(conflict));
    }

    ObjectStore& m_store;
    const Oid m_base, m_newBase, m_commit;
    const MergeOptions& m_options;
    MergeCaches::Data& m_caches;
    const Progress& m_progress;
    LeavesByPath m_changed;
    std::map<std::string, Item> m_items;
    std::set<std::string> m_gone;             // sources of renames: nothing stands there afterwards
    std::map<std::string, Leaf> m_forcedHeld; // what the tree has where a rename alone makes the conflict
    std::set<std::string> m_askedOfNewBase, m_askedOfCommit; // directories whose new name would matter
    std::map<std::string, Leaf> m_addedByNewBase;            // below those that the commit removed
    std::map<std::string, std::string> m_movedFrom;          // new path, old path: taken along by a directory
    std::set<std::string> m_blocked;                         // would be taken along, but something is in the way
    bool m_unclear = false;
    TreeEdits m_edits;
    TreeMerge m_result;
    std::vector<std::shared_ptr<const std::string>> m_texts; // keeps the texts of the merge under way
};

} // namespace

Result<TreeMerge> mergeTrees(ObjectStore& store, const Oid& base, const Oid& newBase, const Oid& commit,
                             const MergeOptions& options, MergeCaches& caches, const Progress& progress)
{
    return TreeMerger(store, base, newBase, commit, options, caches, progress).run();
}

Result<ConflictTexts> conflictTexts(ObjectStore& store, const PathConflict& conflict)
{
    ConflictTexts texts;
    for (const auto& [stage, into] : {std::pair{&conflict.ancestor, &texts.ancestor},
                                      std::pair{&conflict.newBase, &texts.newBase},
                                      std::pair{&conflict.commit, &texts.commit}}) {
        if (!stage->exists() || stage->mode == FileMode::Submodule)
            continue;
        const auto object = store.read(stage->id, ObjectType::Blob);
        if (!object)
            return std::unexpected(object.error());
        *into = *object->bytes;
    }
    texts.merge = mergeTexts(texts.ancestor, texts.newBase, texts.commit);
    return texts;
}

} // namespace espalier

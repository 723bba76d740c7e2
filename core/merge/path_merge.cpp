// SPDX-License-Identifier: MIT
#include "core/merge/path_merge.h"

#include "core/merge/merge_driver.h"

#include <algorithm>

namespace espalier {

auto PathMerger::mergeLeaves(const std::string& path, const MergeEntry& entry, int extraMarker) -> Result<Merged>
{
    const auto& [o, a, b] = entry.leaves;
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
    if (a.mode == b.mode || a.mode == o.mode) {
        merged.leaf.mode = b.mode;
    } else {
        merged.leaf.mode = a.mode;
        merged.clean = b.mode == o.mode;
        if (!merged.clean)
            merged.kind = ConflictKind::TypeDiffers;
    }
    const bool sameKind = o.exists() && kindOf(o) == kindOf(a);
    if (a.id == b.id || (o.exists() && a.id == o.id)) {
        merged.leaf.id = b.id;
    } else if (o.exists() && b.id == o.id) {
        merged.leaf.id = a.id;
    } else if (!isRegularFile(a.mode)) {
        merged = {a, false, a.mode == FileMode::Submodule ? ConflictKind::Submodule : ConflictKind::TypeDiffers, {}};
    } else {
        return mergeTexts(path, entry, sameKind, std::move(merged), extraMarker);
    }
    return merged;
}

auto PathMerger::mergeTexts(const std::string& path, const MergeEntry& entry, bool withAncestor, Merged merged,
                            int extraMarker) -> Result<Merged>
{
    const auto read = [this](const PathEntry& leaf) -> Result<std::string_view> {
        if (!leaf.exists())
            return std::string_view();
        auto object = m_scene.store.read(leaf.id, ObjectType::Blob);
        if (!object)
            return std::unexpected(object.error());
        m_texts.push_back(object->bytes);
        return std::string_view(*m_texts.back());
    };
    m_texts.clear();
    const auto o = read(withAncestor ? entry.leaves.base : PathEntry{}), a = read(entry.leaves.newBase),
               b = read(entry.leaves.commit);
    for (const auto* text : {&o, &a, &b})
        if (!*text)
            return std::unexpected(text->error());
    const auto attributes = m_scene.caches.attributes.of(m_scene.store, m_scene.newBase, path);
    if (!attributes)
        return std::unexpected(attributes.error());
    TextMergeOptions options;
    options.newBaseLabel = labelFor(false, entry, path);
    options.commitLabel = labelFor(true, entry, path);
    options.markerSize = attributes->markerSize + extraMarker;
    const std::string& named = attributes->saysNothing ? m_scene.options.defaultDriver : attributes->named;
    const auto driver = m_scene.options.drivers.find(named);
    if (driver != m_scene.options.drivers.end() && m_scene.options.runDrivers) {
        const auto ran = runMergeDriver(
            m_scene.store.repository(), driver->second,
            {path, *o, *a, *b, options.newBaseLabel, options.commitLabel, options.markerSize}, m_scene.progress);
        if (!ran)
            return std::unexpected(ran.error());
        merged.leaf.id = m_scene.store.add(ObjectType::Blob, ran->text);
        if (!ran->clean) {
            merged.clean = false;
            merged.kind = ConflictKind::Binary;
        }
        return merged;
    }
    if (driver != m_scene.options.drivers.end())
        notAsGit.push_back({path, driver->first});
    MergeAttribute how = attributes->driver;
    if (attributes->saysNothing)
        how = named == "union" ? MergeAttribute::Union : named == "binary" ? MergeAttribute::Binary : how;
    options.favour = how == MergeAttribute::Union ? TextFavour::Union : TextFavour::None;
    TextMerge text;
    text.binary = how == MergeAttribute::Binary;
    if (!text.binary && m_scene.options.renormalize) {
        if (attributes->isConverted)
            notAsGit.push_back({path, {}});
        const bool guessed = attributes->lines == PathAttributes::Lines::Guessed ||
                             (attributes->lines == PathAttributes::Lines::Unsaid && m_scene.options.guessesLines);
        if (guessed || attributes->lines == PathAttributes::Lines::Text) {
            text = espalier::mergeTexts(withPlainLines(*o, guessed), withPlainLines(*a, guessed),
                                        withPlainLines(*b, guessed), options);
        } else {
            text = espalier::mergeTexts(*o, *a, *b, options);
        }
    } else if (!text.binary) {
        text = espalier::mergeTexts(*o, *a, *b, options);
    }
    if (text.binary) {
        merged.leaf.id = entry.leaves.newBase.id;
        merged.clean = false;
        merged.kind = ConflictKind::Binary;
        return merged;
    }
    if (!text.clean()) {
        merged.clean = false;
        merged.kind = withAncestor ? ConflictKind::Text : ConflictKind::BothAdded;
        merged.leaf.id = m_scene.store.add(ObjectType::Blob, text.bytes);
        merged.text = std::make_shared<const TextMerge>(std::move(text));
        return merged;
    }
    merged.leaf.id = m_scene.store.add(ObjectType::Blob, std::move(text.bytes));
    return merged;
}

// git adds the path to the label when the sides' names differ. What a renamed directory took along has its old one there.
std::string PathMerger::labelFor(bool ofCommit, const MergeEntry& entry, const std::string& path) const
{
    const auto nameOf = [&](const std::string& own, bool moved) -> const std::string& {
        return !own.empty() ? own : moved ? entry.movedFrom : path;
    };
    const bool moved = !entry.movedFrom.empty(), byNewBase = moved && (entry.movedAlone || !entry.movedByCommit),
               byCommit = moved && (entry.movedAlone || entry.movedByCommit);
    const std::string& ancestor = nameOf(entry.ancestorPath, moved && entry.movedAlone);
    const std::string& newBase = nameOf(entry.newBasePath, byNewBase);
    const std::string& commit = nameOf(entry.commitPath, byCommit);
    const std::string& label = ofCommit ? m_scene.options.commitLabel : m_scene.options.newBaseLabel;
    return ancestor == newBase && ancestor == commit ? label : label + ":" + (ofCommit ? commit : newBase);
}

Result<void> PathMerger::settle(const std::string& path, const MergeEntry& entry)
{
    const auto& [o, a, b] = entry.leaves;
    PathEntry& outcome = edits[path];
    outcome = {};
    if (entry.gone)
        return {};
    if (entry.same != MergeEntry::Same::None) {
        outcome = entry.same == MergeEntry::Same::BaseAndNewBase ? b : a;
        if (entry.unsettled && outcome.exists())
            conflict(path, entry, std::nullopt);
    } else if (a.exists() && b.exists()) {
        if (kindOf(a) != kindOf(b)) {
            apart(path, entry);
            return {};
        }
        auto merged = mergeLeaves(path, entry);
        if (!merged)
            return std::unexpected(merged.error());
        outcome = merged->leaf;
        if (!merged->clean)
            conflict(path, entry, merged->kind.value_or(ConflictKind::TypeDiffers), std::move(merged->text));
        else if (entry.unsettled)
            conflict(path, entry, std::nullopt);
    } else {
        outcome = a.exists() ? a : b;
        if (o.exists() && outcome.exists())
            conflict(path, entry, a.exists() ? ConflictKind::DeletedByCommit : ConflictKind::DeletedByNewBase);
        else if (entry.unsettled)
            conflict(path, entry, std::nullopt);
    }
    return {};
}

std::string PathMerger::asideOf(const std::string& path, std::string label)
{
    for (char& c : label)
        if (c == '/' || c == ' ')
            c = '_';
    return path + '~' + label;
}

// Two kinds of things at one path: the regular file goes aside under another name, as in git.
void PathMerger::apart(const std::string& path, const MergeEntry& entry)
{
    const MergeOptions& options = m_scene.options;
    const bool newBaseMoves = isRegularFile(entry.leaves.newBase.mode);
    const std::string name = asideOf(path, newBaseMoves ? options.newBaseLabel : options.commitLabel);
    const PathEntry moving = newBaseMoves ? entry.leaves.newBase : entry.leaves.commit;
    const PathEntry staying = newBaseMoves ? entry.leaves.commit : entry.leaves.newBase;
    MergeEntry moved = entry, stayed = entry;
    moved.kind = stayed.kind = ConflictKind::TypeDiffers;
    // Where it comes from, also where that is this path: it has another name now.
    (newBaseMoves ? moved.newBasePath : moved.commitPath) = newBaseMoves
                                                                ? (entry.newBasePath.empty() ? path : entry.newBasePath)
                                                                : (entry.commitPath.empty() ? path : entry.commitPath);
    for (MergeEntry* one : {&moved, &stayed})
        if (one->ancestorPath.empty())
            one->ancestorPath = path;
    (newBaseMoves ? moved.leaves.commit : moved.leaves.newBase) = {};
    (newBaseMoves ? stayed.leaves.newBase : stayed.leaves.commit) = {};
    const int baseKind = entry.leaves.base.exists() ? kindOf(entry.leaves.base) : 0;
    if (baseKind != kindOf(moving))
        moved.leaves.base = {};
    if (baseKind != kindOf(staying))
        stayed.leaves.base = {};
    moved.otherPaths = {path};
    stayed.otherPaths = {name};
    edits[name] = moving;
    conflict(name, moved, ConflictKind::TypeDiffers);
    if (isRegularFile(moving.mode)) {
        edits[path] = staying;
        conflict(path, stayed, ConflictKind::TypeDiffers);
        return;
    }
    // A symlink and a submodule: neither keeps the name.
    const std::string other = asideOf(path, options.newBaseLabel);
    (newBaseMoves ? stayed.commitPath : stayed.newBasePath) = path;
    edits[path] = {};
    edits[other] = staying;
    conflict(other, stayed, ConflictKind::TypeDiffers);
}

void PathMerger::conflict(const std::string& path, const MergeEntry& entry, std::optional<ConflictKind> kind,
                          std::shared_ptr<const TextMerge> text)
{
    PathConflict conflict;
    conflict.path = path;
    conflict.otherPaths = entry.otherPaths;
    if (entry.kind || kind) {
        conflict.kind = entry.kind ? *entry.kind : *kind;
    } else {
        conflict.kind = ConflictKind::DirectoryRenamed;
        conflict.otherPaths.push_back(entry.movedFrom);
    }
    const auto stage = [&](const PathEntry& leaf, const std::string& at) {
        return leaf.exists() ? ConflictStage{leaf, at.empty() ? path : at} : ConflictStage{};
    };
    conflict.ancestor = stage(entry.leaves.base, entry.ancestorPath);
    conflict.newBase = stage(entry.leaves.newBase, entry.newBasePath);
    conflict.commit = stage(entry.leaves.commit, entry.commitPath);
    conflict.held = edits[path];
    if (text)
        conflict.hunks = text->hunks;
    conflict.text = std::move(text);
    conflicts.push_back(std::move(conflict));
}

} // namespace espalier

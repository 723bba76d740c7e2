// SPDX-License-Identifier: MIT
#include "core/replay/held.h"

#include "core/replay/tree_edit.h"
#include "core/settle/compose.h"

#include <algorithm>

namespace espalier {

namespace {

// The decisions that apply to a conflict: the user's own when they were made for these inputs, then the default.
struct Decisions {
    std::vector<HunkDecision> hunks;
    std::optional<std::string> wholeText;
    std::size_t undecided = 0;
};

Decisions decisionsFor(const PathConflict& conflict, std::size_t hunks, const Oid& commit,
                       const Settlements& settlements)
{
    Decisions decisions;
    decisions.hunks.resize(hunks);
    const FileSettlement* own = settlements.find({commit, conflict.path});
    if (own && own->ancestor == conflict.ancestor.id && own->newBase == conflict.newBase.id &&
        own->commit == conflict.commit.id) {
        decisions.wholeText = own->wholeText;
        if (own->hunks.size() == hunks) decisions.hunks = own->hunks;
    }
    if (decisions.wholeText) return decisions;
    for (HunkDecision& hunk : decisions.hunks) {
        // A path without hunks has no place for typed text.
        if (conflict.wholePath() && hunk.choice == Choice::Typed) hunk.choice = Choice::Undecided;
        if (hunk.choice == Choice::Undecided && settlements.defaultChoice()) hunk.choice = *settlements.defaultChoice();
        decisions.undecided += hunk.choice == Choice::Undecided;
    }
    return decisions;
}

FileMode fileModeOf(const PathConflict& conflict)
{
    const auto isFile = [](FileMode mode) { return mode == FileMode::File || mode == FileMode::Executable; };
    for (const FileMode mode : {conflict.heldMode, conflict.commit.mode, conflict.newBase.mode})
        if (isFile(mode)) return mode;
    return FileMode::File;
}

// What one side means for the path as a whole.
void keepSide(const PathConflict& conflict, bool yourCommit, std::map<std::string, PathEntry>& edits)
{
    const ConflictStage& side = yourCommit ? conflict.commit : conflict.newBase;
    const bool elsewhere = side.exists() && !side.path.empty() && side.path != conflict.path;
    if (conflict.kind == ConflictKind::DirectoryRenamed) {
        // The side that put the file there has its own place for it; the other one moved the folder, and the file with
        // it.
        const ConflictStage& other = yourCommit ? conflict.newBase : conflict.commit;
        if (side.exists() && !other.exists() && !conflict.otherPaths.empty()) {
            edits[conflict.path];
            edits[conflict.otherPaths.back()] = {side.mode, side.id};
        }
        return;
    }
    if (elsewhere && conflict.path.starts_with(side.path + '~')) {
        // The file has been put aside under a made-up name; chosen, it takes its own place.
        edits[conflict.path];
        edits[side.path] = {side.mode, side.id};
        return;
    }
    if (elsewhere && conflict.kind == ConflictKind::RenamedTwice)
        edits[conflict.path]; // that side has it under its own name only
    else
        edits[conflict.path] = {side.mode, side.id};
}

struct Work {
    ObjectStore& store;
    const SettleInput& input;
    const Settlements& settlements;
    const Held& before;
    Settled result;
    std::map<std::string, PathEntry> edits;

    std::vector<LineRange> rangesOf(const std::vector<HeldRegion>& regions) const
    {
        std::vector<LineRange> ranges;
        for (const HeldRegion& region : regions)
            ranges.push_back(region.lines);
        return ranges;
    }

    void dependOn(std::size_t owner)
    {
        auto& list = result.dependsOn;
        const auto at = std::ranges::lower_bound(list, owner);
        if (at == list.end() || *at != owner) list.insert(at, owner);
    }

    Result<void> settleText(const PathConflict& path, const Decisions& decisions)
    {
        const auto texts = conflictTexts(store, path);
        if (!texts) return std::unexpected(texts.error());
        const auto earlier = before.find(path.path);
        const std::vector<HeldRegion> none;
        const std::vector<HeldRegion>& regions = earlier == before.end() ? none : earlier->second;
        const std::vector<LineRange> ranges = rangesOf(regions);
        const Composed file =
            compose(texts->merge, texts->newBase, texts->commit, decisions.hunks, Choice::YourCommit, ranges);
        std::vector<HeldRegion> now;
        for (std::size_t i = 0; i < regions.size() && !decisions.wholeText; ++i)
            now.push_back({regions[i].whole ? LineRange{} : file.held[i], regions[i].whole, regions[i].owner});
        if (!decisions.wholeText)
            for (const LineRange& open : file.open)
                now.push_back({open, false, input.index});
        if (now.empty())
            result.held.erase(path.path);
        else
            result.held[path.path] = std::move(now);
        for (const std::size_t touched : heldTouched(texts->merge, ranges))
            dependOn(regions[touched].owner);
        const Oid blob = store.add(ObjectType::Blob, decisions.wholeText ? *decisions.wholeText : file.bytes);
        edits[path.path] = {fileModeOf(path), blob};
        return {};
    }

    void settleWhole(const PathConflict& path, const Decisions& decisions)
    {
        if (decisions.wholeText) {
            edits[path.path] = {fileModeOf(path), store.add(ObjectType::Blob, *decisions.wholeText)};
            return;
        }
        const Choice choice = decisions.hunks.front().choice;
        keepSide(path, choice != Choice::NewBase && choice != Choice::NewBaseFirst, edits);
        if (choice == Choice::Undecided) result.held[path.path].push_back({{}, true, input.index});
    }

    // A path that was open before, and that this commit does not conflict in.
    Result<void> follow(const std::string& path, const std::vector<HeldRegion>& regions)
    {
        const auto parent = entryAt(store, input.parentTree, path);
        const auto commit = entryAt(store, input.commitTree, path);
        const auto onto = entryAt(store, input.newBaseTree, path);
        if (!parent || !commit || !onto)
            return std::unexpected(!parent ? parent.error() : !commit ? commit.error() : onto.error());
        if (*parent == *commit) return {};
        const auto isText = [](const PathEntry& entry) {
            return entry.mode == FileMode::File || entry.mode == FileMode::Executable;
        };
        const bool whole = std::ranges::any_of(regions, &HeldRegion::whole);
        if (whole || !isText(*parent) || !isText(*commit) || !isText(*onto)) {
            for (const HeldRegion& region : regions)
                dependOn(region.owner);
            if (!commit->exists() && !whole) result.held.erase(path);
            return {};
        }
        const auto ancestorText = store.read(parent->id, ObjectType::Blob);
        const auto commitText = store.read(commit->id, ObjectType::Blob);
        const auto ontoText = store.read(onto->id, ObjectType::Blob);
        if (!ancestorText || !commitText || !ontoText)
            return std::unexpected(!ancestorText ? ancestorText.error()
                                   : !commitText ? commitText.error()
                                                 : ontoText.error());
        const std::vector<LineRange> ranges = rangesOf(regions);
        const TextMerge merge = mergeTexts(ancestorText->view(), ontoText->view(), commitText->view());
        for (const std::size_t touched : heldTouched(merge, ranges))
            dependOn(regions[touched].owner);
        const Composed file = compose(merge, ontoText->view(), commitText->view(), {}, Choice::YourCommit, ranges);
        auto& now = result.held[path];
        for (std::size_t i = 0; i < now.size() && i < file.held.size(); ++i)
            now[i].lines = file.held[i];
        return {};
    }
};

} // namespace

bool Settled::open() const
{
    return std::ranges::any_of(conflicts, [](const Conflict& conflict) { return conflict.undecided > 0; });
}

Result<Settled> settle(ObjectStore& store, const SettleInput& input, const TreeMerge& merge,
                       const Settlements& settlements, const Held& before)
{
    Work work{store, input, settlements, before, {}, {}};
    work.result.held = before;
    for (const auto& [path, regions] : before) {
        const bool conflicts = std::ranges::contains(merge.conflicts, path, &PathConflict::path);
        if (conflicts && std::ranges::any_of(regions, &HeldRegion::whole))
            for (const HeldRegion& region : regions)
                work.dependOn(region.owner);
        if (conflicts) continue;
        if (auto done = work.follow(path, regions); !done) return std::unexpected(done.error());
    }
    for (const PathConflict& path : merge.conflicts) {
        const std::size_t hunks = path.wholePath() ? 1 : path.hunks.size();
        const Decisions decisions = decisionsFor(path, hunks, input.commit, settlements);
        work.result.conflicts.push_back({path, hunks, decisions.undecided});
        if (path.wholePath()) {
            work.settleWhole(path, decisions);
        } else if (auto done = work.settleText(path, decisions); !done) {
            return std::unexpected(done.error());
        }
    }
    auto tree = editTree(store, merge.tree, work.edits);
    if (!tree) return std::unexpected(tree.error());
    work.result.tree = *tree;
    return std::move(work.result);
}

} // namespace espalier

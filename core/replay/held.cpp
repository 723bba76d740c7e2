// SPDX-License-Identifier: MIT
#include "core/replay/held.h"

#include "core/settle/carry.h"
#include "core/settle/compose.h"
#include "core/settle/split.h"
#include "core/tree/edit.h"
#include "core/tree/lookup.h"

#include <algorithm>

namespace espalier {

namespace {

// What the user's settlement and the default answer say of a conflict.
struct Decisions {
    FileSettlement held;
    std::size_t again = 0; // of what is undecided
};

// Without texts' names, which cost more than they are worth where nobody has decided anything.
FileSettlement blank(const ThreeBlobs& blobs, std::size_t hunks)
{
    FileSettlement fresh{blobs, {SettledStretch{}}};
    for (std::size_t i = 0; i < hunks; ++i) {
        fresh.pieces.emplace_back(SettledHunk{});
        fresh.pieces.emplace_back(SettledStretch{});
    }
    return fresh;
}

// `texts` is null for a conflict of the whole path.
Decisions decisionsFor(const PathConflict& conflict, const ConflictTexts* texts, const SettlementKey& key,
                       const Settlements& settlements)
{
    const FileSettlement* own = settlements.find(key);
    const ThreeBlobs blobs{conflict.ancestor.id, conflict.newBase.id, conflict.commit.id};
    Decisions decisions;
    FileSettlement& held = decisions.held;
    if (!texts) {
        held = stillHolding(own, undecidedPath(blobs), {});
    } else if (own) {
        const auto segments = segmentsOf(*texts->merge, *texts->ancestor, *texts->newBase, *texts->commit);
        held = stillHolding(own, undecidedText(blobs, segments), segments);
    } else {
        held = blank(blobs, texts->merge->hunks.size());
    }
    const bool forOthers = own && own->touched() && (own->blobs != blobs || own->hunkCount() != held.hunkCount());
    const std::size_t edits = held.questions() - held.hunkCount() - std::size_t(held.form.any());
    for (std::size_t i = 0; i < held.hunkCount(); ++i) {
        Choice choice = held.decision(i).choice;
        // A path without hunks has no place for typed text.
        if (!texts && choice == Choice::Typed)
            choice = Choice::Undecided;
        if (choice == Choice::Undecided && settlements.defaultChoice())
            choice = *settlements.defaultChoice();
        if (choice != held.decision(i).choice)
            held.decide(i, {choice, {}});
    }
    decisions.again = forOthers ? held.undecided() : edits;
    return decisions;
}

FileMode fileModeOf(const PathConflict& conflict)
{
    const auto isFile = [](FileMode mode) { return mode == FileMode::File || mode == FileMode::Executable; };
    for (const FileMode mode : {conflict.held.mode, conflict.commit.mode, conflict.newBase.mode})
        if (isFile(mode))
            return mode;
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
        if (at == list.end() || *at != owner)
            list.insert(at, owner);
    }

    Decisions decide(const PathConflict& path, const ConflictTexts* texts)
    {
        Conflict conflict{.path = path, .ownChange = input.ownChange};
        Decisions decisions = decisionsFor(path, texts, conflict.key(input.commit), settlements);
        conflict.hunks = decisions.held.questions();
        conflict.undecided = decisions.held.undecided();
        conflict.again = decisions.again;
        if (path.text)
            conflict.markerSize = path.text->markerSize;
        conflict.path.text.reset(); // a dry run is kept, and shown
        result.conflicts.push_back(std::move(conflict));
        return decisions;
    }

    Result<void> settleText(const PathConflict& path)
    {
        auto texts = conflictTexts(store, path);
        if (!texts)
            return std::unexpected(texts.error());
        FileForm form = formOf(path);
        if (auto formed = inForm(*texts, form))
            texts = std::move(*formed);
        else // the texts are others by now, and cannot be written so
            form.lineEnds.reset(), form.encoding.reset();
        std::vector<HunkCut> cuts = cutsOf(path);
        *texts = cutTexts(*texts, cuts);
        const Decisions decisions = decide(path, &*texts);
        result.conflicts.back().form = form;
        result.conflicts.back().cuts = std::move(cuts);
        const auto earlier = before.find(path.path);
        const std::vector<HeldRegion> none;
        const std::vector<HeldRegion>& regions = earlier == before.end() ? none : earlier->second;
        const std::vector<LineRange> ranges = rangesOf(regions);
        const Composed file =
            compose(*texts->merge, *texts->newBase, *texts->commit, decisions.held.pieces, Choice::YourCommit, ranges);
        std::vector<HeldRegion> now;
        for (std::size_t i = 0; i < regions.size(); ++i)
            now.push_back({regions[i].whole ? LineRange{} : file.held[i], regions[i].whole, regions[i].owner});
        for (const LineRange& open : file.open)
            now.push_back({open, false, input.index});
        if (now.empty())
            result.held.erase(path.path);
        else
            result.held[path.path] = std::move(now);
        for (const std::size_t touched : heldTouched(*texts->merge, ranges))
            dependOn(regions[touched].owner);
        const Oid blob = store.add(ObjectType::Blob, file.bytes);
        result.conflicts.back().settled = blob;
        edits[path.path] = {form.mode.value_or(fileModeOf(path)), blob};
        return {};
    }

    const FileSettlement* ownOf(const PathConflict& path) const
    {
        Conflict asked;
        asked.ownChange = input.ownChange;
        return settlements.find(asked.key(input.commit, path.path));
    }

    FileForm formOf(const PathConflict& path) const
    {
        const FileSettlement* own = ownOf(path);
        return own ? own->form : FileForm{};
    }

    std::vector<HunkCut> cutsOf(const PathConflict& path) const
    {
        const FileSettlement* own = ownOf(path);
        return own ? own->cuts : std::vector<HunkCut>{};
    }

    // A file that each side renamed: what both changed in it is merged under both names; where that conflicts, the side
    // whose name is chosen decides the hunks too. Without a conflict, what the merge made of it.
    Result<void> composeRenamed(const PathConflict& path, bool yourCommit)
    {
        const ConflictStage& side = yourCommit ? path.commit : path.newBase;
        if (path.kind != ConflictKind::RenamedTwice || !side.exists() || path.otherPaths.size() != 2)
            return {};
        const std::string& old = path.otherPaths[0];
        const std::string& other = path.otherPaths[1];
        const auto ancestor = entryAt(store, input.parentTree, old);
        const auto newBase = entryAt(store, input.newBaseTree, yourCommit ? other : path.path);
        const auto commit = entryAt(store, input.commitTree, yourCommit ? path.path : other);
        if (!ancestor || !newBase || !commit)
            return std::unexpected(!ancestor ? ancestor.error() : !newBase ? newBase.error() : commit.error());
        const auto isText = [](const PathEntry& entry) {
            return entry.mode == FileMode::File || entry.mode == FileMode::Executable;
        };
        const bool merged = side.id != newBase->id && side.id != commit->id;
        if (!merged || !isText(*ancestor) || !isText(*newBase) || !isText(*commit))
            return {};
        const auto oldText = store.read(ancestor->id, ObjectType::Blob);
        const auto ontoText = store.read(newBase->id, ObjectType::Blob);
        const auto commitText = store.read(commit->id, ObjectType::Blob);
        if (!oldText || !ontoText || !commitText)
            return std::unexpected(!oldText ? oldText.error() : !ontoText ? ontoText.error() : commitText.error());
        const TextMerge merge = mergeTexts(oldText->view(), ontoText->view(), commitText->view());
        if (merge.hunks.empty())
            return {};
        const Choice all = yourCommit ? Choice::YourCommit : Choice::NewBase;
        const Composed file = compose(merge, ontoText->view(), commitText->view(), {}, all);
        edits[path.path] = {side.mode, store.add(ObjectType::Blob, file.bytes)};
        return {};
    }

    Result<void> settleWhole(const PathConflict& path)
    {
        const Decisions decisions = decide(path, nullptr);
        const Choice choice = decisions.held.decision(0).choice;
        const bool yourCommit = choice != Choice::NewBase && choice != Choice::NewBaseFirst;
        keepSide(path, yourCommit, edits);
        if (choice == Choice::Undecided)
            result.held[path.path].push_back({{}, true, input.index});
        return composeRenamed(path, yourCommit);
    }

    // A path that was open before, and that this commit does not conflict in.
    Result<void> follow(const std::string& path, const std::vector<HeldRegion>& regions)
    {
        const auto untouched = sameAt(store, input.parentTree, input.commitTree, path);
        if (!untouched || *untouched)
            return untouched ? Result<void>() : std::unexpected(untouched.error());
        const auto parent = entryAt(store, input.parentTree, path);
        const auto commit = entryAt(store, input.commitTree, path);
        const auto onto = entryAt(store, input.newBaseTree, path);
        if (!parent || !commit || !onto)
            return std::unexpected(!parent ? parent.error() : !commit ? commit.error() : onto.error());
        const auto isText = [](const PathEntry& entry) {
            return entry.mode == FileMode::File || entry.mode == FileMode::Executable;
        };
        const bool whole = std::ranges::any_of(regions, &HeldRegion::whole);
        if (whole || !isText(*parent) || !isText(*commit) || !isText(*onto)) {
            for (const HeldRegion& region : regions)
                dependOn(region.owner);
            if (!commit->exists() && !whole)
                result.held.erase(path);
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
        if (conflicts)
            continue;
        if (auto done = work.follow(path, regions); !done)
            return std::unexpected(done.error());
    }
    for (const PathConflict& path : merge.conflicts) {
        auto done = path.wholePath() ? work.settleWhole(path) : work.settleText(path);
        if (!done)
            return std::unexpected(done.error());
    }
    auto tree = editTree(store, merge.tree, work.edits);
    if (!tree)
        return std::unexpected(tree.error());
    work.result.tree = *tree;
    return std::move(work.result);
}

} // namespace espalier

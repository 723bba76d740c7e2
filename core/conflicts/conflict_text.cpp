// SPDX-License-Identifier: MIT
#include "core/conflicts/conflict_text.h"

#include "core/git/text.h"
#include "core/replay/commit_table.h"
#include "core/settle/carry.h"
#include "core/settle/compose.h"
#include "core/settle/split.h"
#include "core/tree/lookup.h"

#include <algorithm>

namespace espalier {

namespace {

struct Words {
    std::string explanation, keepNewBase, keepYourCommit;
};

std::string thingOf(FileMode mode)
{
    switch (mode) {
    case FileMode::Symlink:
        return "a symbolic link";
    case FileMode::Submodule:
        return "a submodule";
    case FileMode::Tree:
        return "a folder";
    case FileMode::Executable:
        return "an executable file";
    default:
        return "a file";
    }
}

std::string shown(std::string_view path) { return displayText(path, 60); }

std::string keepWords(const PathConflict& path, const ConflictStage& side, bool newBase)
{
    const std::string owner = newBase ? "the new base's" : "your commit's";
    if (!side.exists())
        return "Leave nothing here";
    if (side.mode == FileMode::Submodule)
        return "Keep the submodule at " + side.id.brief();
    if (!side.path.empty() && side.path != path.path)
        return "Keep it at " + shown(side.path);
    return "Keep " + owner + " version (" + (side.mode == FileMode::Executable ? "executable" : thingOf(side.mode)) +
           ")";
}

std::string bothLinks(const PathConflict& path)
{
    const bool links = path.newBase.mode == FileMode::Symlink && path.commit.mode == FileMode::Symlink;
    return links ? "The new base and your commit point this symbolic link to different places" : std::string();
}

// Each of the three paths of a file that was renamed twice asks the same: which name. The other two are listed in the
// order old name, the new base's, the commit's.
Words nameWords(const PathConflict& path)
{
    std::vector<std::string> names = path.otherPaths;
    names.insert(names.begin() + (path.ancestor.exists() ? 0 : path.newBase.exists() ? 1 : 2), path.path);
    return {"The new base names " + shown(names[0]) + " " + shown(names[1]) + "; your commit names it " +
                shown(names[2]) +
                ". What both changed in it is merged; where they change the same lines, the side you choose counts",
            "Name it " + shown(names[1]), "Name it " + shown(names[2])};
}

Words wordsFor(const PathConflict& path)
{
    Words words{{}, keepWords(path, path.newBase, true), keepWords(path, path.commit, false)};
    const bool ofNewBase = path.newBase.exists();
    switch (path.kind) {
    case ConflictKind::Text:
        words.explanation = "The new base and your commit change the same lines";
        break;
    case ConflictKind::BothAdded:
        words.explanation = "The new base and your commit each add a file here, with different contents";
        break;
    case ConflictKind::DeletedByNewBase:
        words = {"The new base deleted this file; your commit changes it", "Leave it deleted", "Keep the changed file"};
        break;
    case ConflictKind::DeletedByCommit:
        words = {"Your commit deletes this file; the new base changed it", "Keep the changed file", "Delete it"};
        break;
    case ConflictKind::Binary:
        words.explanation =
            path.ancestor.exists()
                ? "The new base and your commit change this file, which cannot be merged line by line"
                : "The new base and your commit each add this file, which cannot be merged line by line";
        break;
    case ConflictKind::TypeDiffers:
        words.explanation = bothLinks(path);
        if (words.explanation.empty())
            words.explanation = "It is " + thingOf(path.newBase.mode) + " on the new base and " +
                                thingOf(path.commit.mode) + " in your commit";
        break;
    case ConflictKind::FileAndDirectory:
        words.explanation = ofNewBase ? "It is a file on the new base and a folder in your commit"
                                      : "It is a folder on the new base and a file in your commit";
        (ofNewBase ? words.keepNewBase : words.keepYourCommit) = "Keep the file, without the folder";
        (ofNewBase ? words.keepYourCommit : words.keepNewBase) = "Keep the folder, without the file";
        break;
    case ConflictKind::RenamedTwice:
        if (path.otherPaths.size() == 2) {
            words = nameWords(path);
            break;
        }
        words.explanation = "The new base and your commit give this file different names";
        break;
    case ConflictKind::RenamedTogether:
        words.explanation = "Two files are given this name";
        break;
    case ConflictKind::RenamedAndDeleted:
        words.explanation = ofNewBase ? "The new base renamed this file; your commit deletes it"
                                      : "Your commit renames this file; the new base deleted it";
        (ofNewBase ? words.keepNewBase : words.keepYourCommit) = "Keep the renamed file";
        (ofNewBase ? words.keepYourCommit : words.keepNewBase) = ofNewBase ? "Delete it" : "Leave it deleted";
        break;
    case ConflictKind::RenamedAndAdded:
        words.explanation = "A file is renamed to this name, and the other side adds another one here";
        break;
    case ConflictKind::Submodule:
        words.explanation = "The new base and your commit move this submodule to different commits";
        break;
    case ConflictKind::DirectoryRenamed: {
        const bool ofCommit = path.commit.exists();
        words.explanation = ofCommit ? "Your commit puts this file into a folder that the new base renamed"
                                     : "The new base put this file into a folder that your commit renames";
        (ofCommit ? words.keepNewBase : words.keepYourCommit) = "Let it follow to " + shown(path.path);
        if (!path.otherPaths.empty())
            (ofCommit ? words.keepYourCommit : words.keepNewBase) = "Keep it at " + shown(path.otherPaths.back());
        break;
    }
    }
    return words;
}

// The last commit on the new base's first-parent line that left the path as it is there. Only what stands above the
// merge base is looked at, and not without end: the answer is a help, not part of the settlement.
constexpr std::size_t mostCommits = 20'000;

Result<void> addNewBaseCommit(ObjectStore& store, CommitTable& table, const Plan& plan, const std::string& path,
                              ConflictText& text, const Progress& progress)
{
    Oid at = plan.onto;
    auto commit = readCommit(store, at);
    for (std::size_t i = 0; i < mostCommits && commit && at != plan.mergeBase; ++i) {
        if (progress.stopped())
            return cancelled();
        const auto parents = table.parents(store, at);
        if (!parents)
            return std::unexpected(parents.error());
        // A merge brought what one of its parents has: follow that one.
        Oid next;
        for (const Oid& parent : *parents) {
            const auto before = readCommit(store, parent);
            if (!before)
                return std::unexpected(before.error());
            const auto same = sameAt(store, commit->tree, before->tree, path);
            if (!same)
                return std::unexpected(same.error());
            if (*same) {
                next = parent;
                break;
            }
        }
        if (next.isZero()) {
            text.newBaseCommit = at;
            text.newBaseSubject = commit->subject();
            text.newBaseAuthor = commit->author.name;
            text.newBaseTime = commit->author.when;
            return {};
        }
        at = next;
        commit = readCommit(store, at);
    }
    return {};
}

void addHunks(const ConflictTexts& texts, ConflictText& text)
{
    const auto segments = segmentsOf(*texts.merge, *texts.ancestor, *texts.newBase, *texts.commit);
    for (const Segment& segment : segments) {
        if (!segment.conflict) {
            text.between.emplace_back(segment.text);
            continue;
        }
        const TextHunk& hunk = texts.merge->hunks[segment.hunk];
        text.hunks.push_back({hunk.ancestor, hunk.newBase, hunk.commit, std::string(segment.ancestor),
                              std::string(segment.newBase), std::string(segment.commit),
                              std::string(lineEndOf(segments)), hunk.part, hunk.parts});
    }
}

} // namespace

std::string shownPath(const PathConflict& path)
{
    if (path.otherPaths.empty())
        return path.path;
    const std::string& other = path.otherPaths.front();
    if (path.kind == ConflictKind::RenamedTwice && path.wholePath() && !path.ancestor.exists())
        return other;
    // The file has been put aside under a made-up name.
    if (path.kind == ConflictKind::FileAndDirectory)
        return other;
    // A made-up name goes on behind the true one.
    return path.kind == ConflictKind::TypeDiffers ? std::min(path.path, other) : path.path;
}

Result<ConflictText> conflictText(const Repository& repository, const DryRun& run, std::size_t commit,
                                  std::size_t conflict, const Progress& progress)
{
    if (commit >= run.commits.size() || conflict >= run.commits[commit].conflicts.size())
        return fail(ErrorKind::Usage, "The dry run has no such conflict", run.plan.label, "Make the dry run again");
    ObjectStore store(repository);
    if (run.objects)
        store.replaceNewObjects(*run.objects);
    const ReplayedCommit& replayed = run.commits[commit];
    const Conflict& asked = replayed.conflicts[conflict];
    const PathConflict& path = asked.path;
    ConflictText text;
    text.key = asked.key(replayed.id);
    text.ownChange = asked.ownChange;
    text.path = shownPath(path);
    text.ancestorId = path.ancestor.id;
    text.newBaseId = path.newBase.id;
    text.commitId = path.commit.id;
    text.yourCommit = replayed.id;
    text.yourSubject = replayed.subject;
    text.wholePath = path.wholePath();
    const auto togetherWith = [&](const std::vector<std::string>& paths) {
        for (const std::string& other : paths)
            text.together.push_back(asked.key(replayed.id, other).path);
    };
    if (path.kind == ConflictKind::RenamedTwice && text.wholePath) {
        togetherWith(path.otherPaths);
    }
    // What stands at one place as two kinds of things has two paths: one of them made up, and one question.
    const bool twoKinds = path.kind == ConflictKind::TypeDiffers && !path.otherPaths.empty();
    PathConflict whole = path;
    for (const Conflict& other : replayed.conflicts)
        if (twoKinds && other.ownChange == asked.ownChange && other.path.path == path.otherPaths.front()) {
            if (!whole.newBase.exists())
                whole.newBase = other.path.newBase;
            if (!whole.commit.exists())
                whole.commit = other.path.commit;
            togetherWith(path.otherPaths);
            for (ConflictStage* side : {&whole.newBase, &whole.commit})
                side->path.clear();
        }
    Words words = wordsFor(whole);
    text.explanation = std::move(words.explanation);
    text.keepNewBase = std::move(words.keepNewBase);
    text.keepYourCommit = std::move(words.keepYourCommit);
    if (text.wholePath) {
        auto sides = pathSides(store, replayed, asked, text.path, progress);
        if (!sides)
            return std::unexpected(sides.error());
        text.sides = std::move(*sides);
        text.between.emplace_back();
        if (path.newBase.mode == FileMode::Symlink)
            text.keepNewBase = "Keep the link to " + shown(text.sides.newBase.target);
        if (path.commit.mode == FileMode::Symlink)
            text.keepYourCommit = "Keep the link to " + shown(text.sides.commit.target);
    } else {
        auto texts = conflictTexts(store, path);
        if (!texts)
            return std::unexpected(texts.error());
        text.form = asked.form;
        text.formQuestions = formQuestions(*texts, path, asked.form);
        if (auto formed = inForm(*texts, asked.form))
            texts = std::move(*formed);
        text.cuts = asked.cuts;
        *texts = cutTexts(*texts, asked.cuts);
        addHunks(*texts, text);
        text.ancestor = *texts->ancestor;
        text.newBase = *texts->newBase;
        text.commit = *texts->commit;
    }
    if (text.wholePath) {
        CommitTable table(repository);
        const bool named = path.newBase.exists() && !path.newBase.path.empty();
        auto found = addNewBaseCommit(store, table, run.plan, named ? path.newBase.path : path.path, text, progress);
        if (!found)
            return std::unexpected(found.error());
    }
    return text;
}

Oid textsOfHunk(const ConflictHunk& hunk) { return textsOfHunk(hunk.ancestorText, hunk.newBaseText, hunk.commitText); }

std::string hunkText(const ConflictHunk& hunk, const HunkDecision& decision)
{
    return hunkBytes(hunk.newBaseText, hunk.commitText, decision, hunk.lineEnd);
}

std::vector<Segment> segmentsOf(const ConflictText& text)
{
    std::vector<Segment> segments;
    for (std::size_t i = 0; !text.wholePath && i < text.between.size(); ++i) {
        Segment stretch;
        stretch.text = text.between[i];
        segments.push_back(stretch);
        if (i >= text.hunks.size())
            break;
        Segment hunk;
        hunk.conflict = true;
        hunk.ancestor = text.hunks[i].ancestorText;
        hunk.newBase = text.hunks[i].newBaseText;
        hunk.commit = text.hunks[i].commitText;
        hunk.hunk = i;
        hunk.part = text.hunks[i].part;
        hunk.parts = text.hunks[i].parts;
        segments.push_back(hunk);
    }
    return segments;
}

ConflictText withWholeHunks(ConflictText text)
{
    const auto grow = [](LineRange& all, const LineRange& more) { all.count = more.end() - all.first; };
    for (std::size_t i = 1; i < text.hunks.size();) {
        if (text.hunks[i].part == 0) {
            ++i;
            continue;
        }
        ConflictHunk& whole = text.hunks[i - 1];
        const ConflictHunk& part = text.hunks[i];
        grow(whole.ancestor, part.ancestor);
        grow(whole.newBase, part.newBase);
        grow(whole.commit, part.commit);
        whole.ancestorText += part.ancestorText;
        whole.newBaseText += part.newBaseText;
        whole.commitText += part.commitText;
        text.hunks.erase(text.hunks.begin() + std::ptrdiff_t(i));
        text.between.erase(text.between.begin() + std::ptrdiff_t(i));
    }
    for (ConflictHunk& hunk : text.hunks)
        hunk.part = 0, hunk.parts = 1;
    text.cuts.clear();
    return text;
}

std::string settledText(const ConflictText& text, const FileSettlement& settlement)
{
    return settledBytes(segmentsOf(text), settlement.pieces, Choice::NewBase);
}

FileSettlement undecided(const ConflictText& text)
{
    const ThreeBlobs blobs{text.ancestorId, text.newBaseId, text.commitId};
    return text.wholePath ? undecidedPath(blobs) : undecidedText(blobs, segmentsOf(text));
}

FileSettlement stillHolding(const FileSettlement* kept, const ConflictText& text)
{
    return stillHolding(kept, undecided(text), segmentsOf(text));
}

} // namespace espalier

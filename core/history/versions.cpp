// SPDX-License-Identifier: MIT
#include "core/history/versions.h"

#include "core/git/text.h"
#include "core/history/equivalence.h"

#include <algorithm>

namespace espalier {

namespace {

struct Read {
    CommitSummary summary;
    std::string message;
};

Result<std::vector<Read>> readAll(ObjectStore& store, const std::vector<Oid>& ids)
{
    std::vector<Read> all;
    for (const Oid& id : ids) {
        auto summary = summaryOf(store, id);
        if (!summary)
            return std::unexpected(summary.error());
        const auto commit = readCommit(store, id);
        if (!commit)
            return std::unexpected(commit.error());
        all.push_back({std::move(*summary), commit->messageUtf8()});
    }
    return all;
}

std::vector<Oid> onlyIn(const Snapshot& snapshot, Row of, Row without)
{
    std::vector<Row> excluded{without};
    if (const Ref* main = snapshot.mainLineRef(); main && main->row != noRow)
        excluded.push_back(main->row);
    std::vector<Oid> ids;
    for (const Row row : snapshot.history.onlyIn(std::span(&of, 1), excluded))
        ids.push_back(snapshot.history.id(row));
    return ids;
}

bool alike(const Read& a, const Read& b)
{
    return a.message == b.message && a.summary.author == b.summary.author &&
           a.summary.authorEmail == b.summary.authorEmail;
}

// Which of `now` each of `before` became: an index, or -1.
std::vector<int> partners(const std::vector<Read>& before, const std::vector<Read>& now,
                          const std::vector<std::pair<Oid, Oid>>& equal)
{
    std::vector<int> found(before.size(), -1);
    std::vector<bool> taken(now.size(), false);
    const auto pair = [&](std::size_t i, auto&& fits) {
        for (std::size_t k = 0; k < now.size() && found[i] < 0; ++k)
            if (!taken[k] && fits(now[k])) {
                found[i] = int(k);
                taken[k] = true;
            }
    };
    for (std::size_t i = 0; i < before.size(); ++i)
        for (const auto& [mine, other] : equal)
            if (mine == before[i].summary.id)
                pair(i, [&](const Read& each) { return each.summary.id == other; });
    for (std::size_t i = 0; i < before.size(); ++i)
        pair(i, [&](const Read& each) { return alike(each, before[i]); });
    return found;
}

// What a commit does, as lines without numbers: its message, then each file and its hunks with their signs.
std::string textOf(const Commit& commit, const Changes& changes)
{
    std::string text = commit.messageUtf8();
    if (!text.ends_with('\n'))
        text += '\n';
    for (const FileChange& file : changes.files) {
        text += file.oldPath == file.newPath || file.oldPath.empty() || file.newPath.empty()
                    ? "## " + (file.newPath.empty() ? file.oldPath : file.newPath) + " ##\n"
                    : "## " + file.oldPath + " => " + file.newPath + " ##\n";
        if (file.kind == ChangeKind::Added)
            text += "new file\n";
        if (file.kind == ChangeKind::Deleted)
            text += "file deleted\n";
        if (file.binary || file.tooBig)
            text += file.oldId.brief() + " became " + file.newId.brief() + "\n";
        for (const DiffHunk& hunk : file.hunks) {
            text += hunk.header.empty() ? "@@\n" : "@@ " + hunk.header + "\n";
            for (const DiffLine& line : hunk.lines) {
                text += line.kind == DiffLine::Added ? '+' : line.kind == DiffLine::Deleted ? '-' : ' ';
                text += line.text + "\n";
            }
        }
    }
    return text;
}

Result<std::string> textOf(const Repository& repository, const Oid& id, const Progress& progress)
{
    if (id.isZero())
        return std::string();
    ObjectStore store(repository);
    const auto commit = readCommit(store, id);
    if (!commit)
        return std::unexpected(commit.error());
    const auto changes = changesOf(repository, id, {}, progress);
    if (!changes)
        return std::unexpected(changes.error());
    return textOf(*commit, *changes);
}

constexpr std::string_view fileMark = "## ";

// The path of the file that the line belongs to; empty in the message.
std::string fileAt(std::string_view text, int line)
{
    std::string path;
    for (int at = 1; at <= line && !text.empty(); ++at) {
        const std::string_view whole = text.substr(0, text.find('\n'));
        if (whole.starts_with(fileMark) && whole.ends_with(" ##"))
            path = whole.substr(3, whole.size() - 6);
        text.remove_prefix(std::min(text.size(), whole.size() + 1));
    }
    return path;
}

} // namespace

Result<std::vector<VersionPair>> pairVersions(const Repository& repository, const Snapshot& snapshot, Row beforeTip,
                                              Row nowTip, const Progress& progress)
{
    const std::vector<Oid> oldIds = onlyIn(snapshot, beforeTip, nowTip), newIds = onlyIn(snapshot, nowTip, beforeTip);
    ObjectStore store(repository);
    EquivalenceCache cache;
    const auto equal = equalCommits(store, oldIds, newIds, cache, progress);
    if (!equal)
        return std::unexpected(equal.error());
    const auto before = readAll(store, oldIds);
    if (!before)
        return std::unexpected(before.error());
    const auto now = readAll(store, newIds);
    if (!now)
        return std::unexpected(now.error());
    const std::vector<int> became = partners(*before, *now, *equal);
    std::vector<VersionPair> pairs;
    std::vector<bool> placed(before->size(), false);
    // What has no partner stands above the first below it that has one.
    const auto placeLeftOut = [&](std::size_t until) {
        for (std::size_t i = 0; i < until; ++i)
            if (!placed[i] && became[i] < 0) {
                pairs.push_back({(*before)[i].summary, std::nullopt, false, false});
                placed[i] = true;
            }
    };
    for (std::size_t k = 0; k < now->size(); ++k) {
        VersionPair pair;
        pair.now = (*now)[k].summary;
        if (const auto from = std::ranges::find(became, int(k)); from != became.end()) {
            const auto i = std::size_t(from - became.begin());
            placeLeftOut(i);
            pair.before = (*before)[i].summary;
            placed[i] = true;
            pair.sameMessage = (*before)[i].message == (*now)[k].message;
            pair.sameChange = std::ranges::find(*equal, std::pair(pair.before->id, pair.now->id)) != equal->end();
        }
        pairs.push_back(std::move(pair));
    }
    placeLeftOut(before->size());
    return pairs;
}

Result<FileChange> differenceOfChanges(const Repository& repository, const Oid& before, const Oid& now,
                                       const Progress& progress)
{
    const auto oldText = textOf(repository, before, progress);
    if (!oldText)
        return std::unexpected(oldText.error());
    const auto newText = textOf(repository, now, progress);
    if (!newText)
        return std::unexpected(newText.error());
    auto difference = changesOfTexts(*oldText, *newText);
    if (!difference)
        return difference;
    // Line numbers of these texts tell nobody anything; the file does.
    for (DiffHunk& hunk : difference->hunks) {
        const auto first =
            std::ranges::find_if(hunk.lines, [](const DiffLine& line) { return line.kind != DiffLine::Context; });
        if (first != hunk.lines.end())
            hunk.header = first->kind == DiffLine::Added ? fileAt(*newText, first->newNumber)
                                                         : fileAt(*oldText, first->oldNumber);
        hunk.oldStart = hunk.newStart = 0;
        for (DiffLine& line : hunk.lines)
            line.oldNumber = line.newNumber = 0;
    }
    return difference;
}

} // namespace espalier

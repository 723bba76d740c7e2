// SPDX-License-Identifier: MIT
#include "core/history/versions.h"

#include "core/git/commit.h"
#include "core/git/text.h"
#include "core/tree/differences.h"

#include <algorithm>
#include <cstdlib>

namespace espalier {

namespace {

std::string lowered(std::string text)
{
    // Mail addresses are compared without regard to ASCII case, as mailmap does.
    std::ranges::transform(text, text.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? char(c + 32) : c; });
    return text;
}

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

bool alike(const Read& a, const Read& b)
{
    return a.message == b.message && a.summary.author == b.summary.author &&
           a.summary.authorEmail == b.summary.authorEmail;
}

using Partners = std::vector<std::pair<Oid, Oid>>;

// Which of `now` each of `before` became: an index, or -1.
std::vector<int> partners(const std::vector<Read>& before, const std::vector<Read>& now, const Partners& equal)
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

// The equal commits of the upstream's for those that have no partner.
Result<std::vector<std::optional<Read>>> landedPartners(ObjectStore& store, const VersionIds& ids,
                                                        const std::vector<int>& became, EquivalenceCache& cache,
                                                        const Progress& progress)
{
    std::vector<std::optional<Read>> found(became.size());
    std::vector<Oid> alone;
    for (std::size_t i = 0; i < became.size(); ++i)
        if (became[i] < 0)
            alone.push_back(ids.before[i]);
    if (alone.empty() || !ids.landedAmong)
        return found;
    const auto among = ids.landedAmong();
    if (!among)
        return std::unexpected(among.error());
    const auto equal = equalCommits(store, alone, *among, cache, progress);
    if (!equal)
        return std::unexpected(equal.error());
    for (const auto& [mine, other] : *equal) {
        auto read = readAll(store, {other});
        if (!read)
            return std::unexpected(read.error());
        const auto at = std::ranges::find(ids.before, mine);
        found[std::size_t(at - ids.before.begin())] = std::move(read->front());
    }
    return found;
}

std::string authorOf(const Commit& commit) { return commit.author.name + " <" + commit.author.email + ">"; }

std::string messageText(const Commit& commit, bool withAuthor)
{
    std::string text = (withAuthor ? "Author: " + authorOf(commit) + "\n\n" : "") + commit.messageUtf8();
    if (!text.ends_with('\n'))
        text += '\n';
    return text;
}

// "100755", as git writes it.
std::string modeText(FileMode mode)
{
    std::string digits;
    for (auto bits = std::uint32_t(mode); bits > 0; bits /= 8)
        digits.insert(digits.begin(), char('0' + bits % 8));
    return digits;
}

// What a commit changes, as lines without numbers: each file and its hunks with their signs.
std::string linesText(const Changes& changes)
{
    std::string text;
    for (const FileChange& file : changes.files) {
        text += file.oldPath == file.newPath || file.oldPath.empty() || file.newPath.empty()
                    ? "## " + (file.newPath.empty() ? file.oldPath : file.newPath) + " ##\n"
                    : "## " + file.oldPath + " => " + file.newPath + " ##\n";
        if (file.kind == ChangeKind::Added)
            text += "new file" + (file.after.mode == FileMode::File ? "" : " " + modeText(file.after.mode)) + "\n";
        else if (file.kind == ChangeKind::Deleted)
            text += "file deleted\n";
        else if (file.before.mode != file.after.mode)
            text += "mode " + modeText(file.before.mode) + " => " + modeText(file.after.mode) + "\n";
        if (file.binary || file.tooBig)
            text += file.before.id.brief() + " became " + file.after.id.brief() + "\n";
        for (const DiffHunk& hunk : file.hunks) {
            text += hunk.header.empty() ? "@@\n" : "@@ " + hunk.header + "\n";
            for (const DiffLine& line : hunk.lines) {
                text += line.kind == DiffLine::Added ? '+' : line.kind == DiffLine::Deleted ? '-' : ' ';
                text += line.text + "\n";
                if (line.noNewline)
                    text += "\\ no line end\n";
            }
        }
    }
    return text;
}

constexpr std::string_view fileMark = "## ";

// The same without the lines that a change only stands between, and without the names of files.
std::string withoutSurroundings(std::string_view text)
{
    std::string changed;
    while (!text.empty()) {
        const std::string_view line = text.substr(0, std::min(text.size() - 1, text.find('\n')) + 1);
        if (!line.starts_with(' ') && !line.starts_with("@@") && !line.starts_with(fileMark))
            changed += line;
        text.remove_prefix(line.size());
    }
    return changed;
}

// Nothing for the zero id.
Result<std::string> linesText(const Repository& repository, const Oid& id, const Progress& progress)
{
    if (id.isZero())
        return std::string();
    const auto changes = changesOf(repository, id, {}, progress);
    if (!changes)
        return std::unexpected(changes.error());
    return linesText(*changes);
}

// The messages of two commits as they are compared; that of the zero id is empty.
Result<std::pair<std::string, std::string>> messageTexts(ObjectStore& store, const Oid& before, const Oid& now)
{
    std::optional<Commit> commits[2];
    for (const auto& [id, commit] : {std::pair(before, &commits[0]), std::pair(now, &commits[1])}) {
        if (id.isZero())
            continue;
        auto read = readCommit(store, id);
        if (!read)
            return std::unexpected(read.error());
        *commit = std::move(*read);
    }
    const bool withAuthor = commits[0] && commits[1] && authorOf(*commits[0]) != authorOf(*commits[1]);
    return std::pair(commits[0] ? messageText(*commits[0], withAuthor) : std::string(),
                     commits[1] ? messageText(*commits[1], withAuthor) : std::string());
}

// From and to which tree a commit leads; a parent that is not here (a shallow clone) counts as none.
Result<std::pair<Oid, Oid>> treesOf(ObjectStore& store, const Oid& id)
{
    const auto commit = readCommit(store, id);
    if (!commit)
        return std::unexpected(commit.error());
    std::pair<Oid, Oid> trees(Oid(), commit->tree);
    if (!commit->parents.empty() && store.contains(commit->parents[0])) {
        const auto parent = readCommit(store, commit->parents[0]);
        if (!parent)
            return std::unexpected(parent.error());
        trees.first = parent->tree;
    }
    return trees;
}

// Both commits change the same paths, from the same contents to the same contents.
Result<bool> changeTheSameFiles(ObjectStore& store, const Oid& before, const Oid& now)
{
    std::vector<PathChange> changes[2];
    for (const auto& [id, into] : {std::pair(before, &changes[0]), std::pair(now, &changes[1])}) {
        const auto trees = treesOf(store, id);
        if (!trees)
            return std::unexpected(trees.error());
        auto found = treeChanges(StoreTrees{store}, trees->first, trees->second);
        if (!found)
            return std::unexpected(found.error());
        *into = std::move(**found);
    }
    return std::ranges::equal(changes[0], changes[1], [](const PathChange& a, const PathChange& b) {
        return a.path == b.path && a.before == b.before && a.after == b.after;
    });
}

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

VersionIds versionIds(const Snapshot& snapshot, Row beforeTip, Row nowTip)
{
    const History& history = snapshot.history;
    const Ref* main = snapshot.mainLineRef();
    // With one remote for both parts everything on it is the upstream's, so that only its main line tells; and the main
    // line itself may be what is overwritten.
    const bool oneForBoth = snapshot.roles.oneForBoth();
    const bool usesMain = main && main->row != noRow && !(oneForBoth && main->row == beforeTip);
    const auto split = [&](Row of, Row without) {
        std::pair<std::vector<Oid>, std::vector<Oid>> ids; // the version's own, the upstream's
        std::vector<Row> excluded{without};
        const std::vector<Row> all = history.onlyIn(std::span(&of, 1), excluded);
        if (usesMain)
            excluded.push_back(main->row);
        std::vector<Row> own = usesMain ? history.onlyIn(std::span(&of, 1), excluded) : all;
        if (!oneForBoth)
            std::erase_if(own, [&](Row row) { return snapshot.placesOf(row) & placeBit(Place::Upstream); });
        for (const Row row : all)
            (std::ranges::binary_search(own, row) ? ids.first : ids.second).push_back(history.id(row));
        return ids;
    };
    auto [now, landed] = split(nowTip, beforeTip);
    return {split(beforeTip, nowTip).first, std::move(now),
            [others = std::move(landed)] -> Result<std::vector<Oid>> { return others; }};
}

Result<std::vector<VersionPair>> pairVersions(ObjectStore& store, const VersionIds& ids, EquivalenceCache& cache,
                                              const Progress& progress)
{
    const auto equal = equalCommits(store, ids.before, ids.now, cache, progress);
    if (!equal)
        return std::unexpected(equal.error());
    const auto before = readAll(store, ids.before);
    if (!before)
        return std::unexpected(before.error());
    const auto now = readAll(store, ids.now);
    if (!now)
        return std::unexpected(now.error());
    const std::vector<int> became = partners(*before, *now, *equal);
    auto landed = landedPartners(store, ids, became, cache, progress);
    if (!landed)
        return std::unexpected(landed.error());
    std::vector<VersionPair> pairs;
    std::vector<bool> placed(before->size(), false);
    const auto place = [&](std::size_t i, const Read* as, bool sameChange, bool isLanded) {
        VersionPair pair;
        pair.before = (*before)[i].summary;
        pair.sameChange = sameChange;
        pair.landed = isLanded;
        if (as) {
            pair.now = as->summary;
            pair.sameMessage = (*before)[i].message == as->message;
        }
        pairs.push_back(std::move(pair));
        placed[i] = true;
    };
    // What has no partner in the new version stands above the first below it that has one.
    const auto placeLeftOut = [&](std::size_t until) {
        for (std::size_t i = 0; i < until; ++i)
            if (!placed[i] && became[i] < 0)
                place(i, (*landed)[i] ? &*(*landed)[i] : nullptr, (*landed)[i].has_value(), (*landed)[i].has_value());
    };
    for (std::size_t k = 0; k < now->size(); ++k) {
        const auto from = std::ranges::find(became, int(k));
        if (from == became.end()) {
            pairs.emplace_back().now = (*now)[k].summary;
            continue;
        }
        const auto i = std::size_t(from - became.begin());
        placeLeftOut(i);
        const bool same = std::ranges::find(*equal, std::pair(ids.before[i], ids.now[k])) != equal->end();
        place(i, &(*now)[k], same, false);
    }
    placeLeftOut(before->size());
    return pairs;
}

Result<std::vector<VersionPair>> pairVersions(const Repository& repository, const Snapshot& snapshot, Row beforeTip,
                                              Row nowTip, const Progress& progress)
{
    ObjectStore store(repository);
    EquivalenceCache cache;
    return pairVersions(store, versionIds(snapshot, beforeTip, nowTip), cache, progress);
}

std::set<std::string> addressesOfUser(const Repository& repository)
{
    std::set<std::string> addresses;
    for (const char* key : {"user.email", "author.email", "committer.email"})
        if (const auto address = repository.config(key); address && !address->empty())
            addresses.insert(lowered(*address));
    for (const char* variable : {"GIT_AUTHOR_EMAIL", "GIT_COMMITTER_EMAIL"})
        if (const char* address = std::getenv(variable); address && *address)
            addresses.insert(lowered(address));
    if (const auto identity = committerIdentity(repository))
        addresses.insert(lowered(identity->email));
    return addresses;
}

Replacement replacementOf(const std::vector<VersionPair>& pairs, const std::set<std::string>& addresses)
{
    Replacement sorted;
    for (const VersionPair& pair : pairs) {
        if (!pair.before) {
            sorted.added.push_back(*pair.now);
            continue;
        }
        const bool byUser = addresses.contains(lowered(pair.before->authorEmail));
        if (!pair.now) {
            (byUser ? sorted.removed : sorted.foreign).push_back(*pair.before);
            continue;
        }
        sorted.replaced.push_back({*pair.before, *pair.now, pair.sameChange, byUser, pair.sameMessage, pair.landed});
    }
    return sorted;
}

std::vector<CommitSummary> othersOf(std::span<const CommitPair> pairs)
{
    std::vector<CommitSummary> others;
    for (const CommitPair& pair : pairs)
        if (!pair.byUser)
            others.push_back(pair.old);
    return others;
}

std::string authorsOf(std::span<const CommitSummary> commits)
{
    std::vector<std::string> names;
    for (const CommitSummary& commit : commits)
        if (std::string name = displayText(commit.author, 200); !std::ranges::contains(names, name))
            names.push_back(std::move(name));
    std::string line;
    for (const std::string& name : names)
        line += (line.empty() ? "" : ", ") + name;
    return line;
}

std::string Replacement::line() const
{
    const auto written = [](std::size_t of, const std::vector<CommitSummary>& others) {
        if (others.empty())
            return std::string();
        return " (" + (others.size() == of ? "" : std::to_string(others.size()) + " of them ") + "written by " +
               authorsOf(others) + ")";
    };
    const std::size_t old = replaced.size();
    std::string text;
    if (old > 0)
        text = counted(old, "commit", "commits") + " replaced by " +
               (old == 1 ? "its new version" : "their new versions") + written(old, othersOf(replaced)) + ", ";
    text += alone() == 0 ? "none" : old == 0 ? counted(alone(), "commit", "commits") : std::to_string(alone());
    return text + " without a counterpart" + written(alone(), foreign);
}

Result<FileChange> differenceOfChanges(const Repository& repository, const Oid& before, const Oid& now,
                                       const Progress& progress)
{
    ObjectStore store(repository);
    const auto messages = messageTexts(store, before, now);
    if (!messages)
        return std::unexpected(messages.error());
    const auto oldLines = linesText(repository, before, progress);
    if (!oldLines)
        return std::unexpected(oldLines.error());
    const auto newLines = linesText(repository, now, progress);
    if (!newLines)
        return std::unexpected(newLines.error());
    const std::string oldText = messages->first + *oldLines, newText = messages->second + *newLines;
    auto difference = changesOfTexts(oldText, newText);
    if (!difference)
        return difference;
    // Line numbers of these texts tell nobody anything; the file does.
    for (DiffHunk& hunk : difference->hunks) {
        const auto first =
            std::ranges::find_if(hunk.lines, [](const DiffLine& line) { return line.kind != DiffLine::Context; });
        if (first != hunk.lines.end())
            hunk.header =
                first->kind == DiffLine::Added ? fileAt(newText, first->newNumber) : fileAt(oldText, first->oldNumber);
        hunk.oldStart = hunk.newStart = 0;
        for (DiffLine& line : hunk.lines)
            line.oldNumber = line.newNumber = 0;
    }
    return difference;
}

Result<ChangesDiffer> whatDiffers(ObjectStore& store, const Oid& before, const Oid& now, const Progress& progress)
{
    const auto messages = messageTexts(store, before, now);
    if (!messages)
        return std::unexpected(messages.error());
    ChangesDiffer differ;
    differ.message = messages->first != messages->second;
    if (!before.isZero() && !now.isZero()) {
        const auto same = changeTheSameFiles(store, before, now);
        if (!same)
            return std::unexpected(same.error());
        if (*same)
            return differ;
    }
    const auto oldLines = linesText(store.repository(), before, progress);
    if (!oldLines)
        return std::unexpected(oldLines.error());
    const auto newLines = linesText(store.repository(), now, progress);
    if (!newLines)
        return std::unexpected(newLines.error());
    differ.lines = withoutSurroundings(*oldLines) != withoutSurroundings(*newLines);
    differ.around = !differ.lines && *oldLines != *newLines;
    return differ;
}

} // namespace espalier

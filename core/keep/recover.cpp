// SPDX-License-Identifier: MIT
//
// What becomes of a change that was stopped: when none of its refs had moved, it is undone; when one had, it is completed.
#include "core/keep/recover.h"

#include "core/git/lock_files.h"
#include "core/git/text.h"
#include "core/keep/aftermath.h"
#include "core/keep/change.h"
#include "core/keep/entry_file.h"
#include "core/keep/open_entries.h"
#include "core/keep/push_locks.h"
#include "core/keep/worktree_files.h"
#include "core/refs/ref_files.h"
#include "core/refs/ref_locks.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

// Where files of the program's own are written, from its own folder; FETCH_HEAD stands above it.
constexpr std::array ownFolders{"..", ".", "logbook", "settling", "remembered"};

struct Standing {
    std::size_t moved = 0;
    std::vector<RefMove> toMove; // still at the old value
    std::vector<std::string> strange;
    Head head; // of the worktree, where the entry changes what is checked out
    bool headMoved = false, headToMove = false;
};

Result<Standing> standingOf(const Repository& repository, const LogbookEntry& entry, git_repository* worktree)
{
    Standing standing;
    for (const RefMove& move : branchMoves(entry)) {
        auto now = readRef(raw(repository), move.name);
        if (!now)
            return std::unexpected(now.error());
        if (*now == move.now)
            ++standing.moved;
        else if (*now == move.old)
            standing.toMove.push_back(move);
        else
            standing.strange.push_back(move.name);
    }
    if (worktree && entry.worktree.headAfter != entry.headBefore) {
        auto head = readHead(worktree);
        if (!head)
            return std::unexpected(head.error());
        standing.head = *head;
        standing.headMoved = head->text == entry.worktree.headAfter;
        standing.headToMove = head->text == entry.headBefore;
    }
    return standing;
}

Result<void> clearLocks(const Repository& repository, std::vector<std::string>& lines)
{
    auto cleared = clearAbandonedLocks(repository.commonDir());
    if (!cleared)
        return std::unexpected(cleared.error());
    lines.insert(lines.end(), cleared->begin(), cleared->end());
    return {};
}

Result<void> settleWorktree(const LogbookEntry& entry, bool forwards, std::vector<std::string>& lines)
{
    const WorktreeMove& move = entry.worktree;
    auto own = Repository::open(move.gitDir);
    if (!own)
        return std::unexpected(own.error());
    ObjectStore store(*own);
    auto paths = pathMoves(store, move.from, move.to);
    if (!paths)
        return std::unexpected(paths.error());
    if (paths->empty())
        return {};
    auto session = WorktreeSession::begin(move.gitDir);
    if (!session)
        return std::unexpected(session.error());
    if (auto done = finishFiles(*session, *paths, forwards, lines); !done)
        return done;
    if (auto published = session->publish(); !published)
        return published;
    return session->release();
}

// A log is begun before its branch and goes after it. One without a branch would be in the way of a name that goes on from it.
Result<void> removeLogsOfGone(const Repository& repository, const LogbookEntry& entry)
{
    for (const RefMove& move : branchMoves(entry))
        if (const auto now = readRef(raw(repository), move.name); now && now->isZero())
            if (auto removed = removeReflog(raw(repository), move.name); !removed)
                return removed;
    return {};
}

// Whether HEAD still is where the change found or left it; else somebody has gone on, and the worktree is theirs.
Result<bool> worktreeIsOurs(git_repository* worktree, const LogbookEntry& entry)
{
    auto head = readHead(worktree);
    if (!head)
        return std::unexpected(head.error());
    return head->tip == entry.worktree.from || head->tip == entry.worktree.to ||
           (head->tip.isZero() && head->text == entry.headBefore);
}

// Looking changes nothing: only where there is something to do a lock is taken.
bool isAnythingLeft(const Repository& repository)
{
    return !openEntryIds(repository).empty() || !forgottenIds(repository).empty() ||
           hasAbandonedLocks(repository.commonDir()) || std::ranges::any_of(ownFolders, [&](const char* own) {
               return hasLeftTemporaries(ownFolder(repository) / own);
           });
}

std::string unknownPush(const LogbookEntry& entry)
{
    return "It is not known yet whether this arrived; fetch, and it will be: " + displayText(entry.title, 300);
}

} // namespace

Result<EntryState> resolveBegun(const Repository& repository, const LogbookEntry& entry,
                                std::vector<std::string>& lines)
{
    if (auto cleared = clearLocks(repository, lines); !cleared)
        return std::unexpected(cleared.error());
    if (!entry.worktree.gitDir.empty())
        if (auto removed = WorktreeSession::removeWorkingCopy(entry.worktree.gitDir); !removed)
            return std::unexpected(removed.error());
    std::optional<Repository> worktree;
    if (!entry.worktree.gitDir.empty()) {
        if (auto opened = Repository::open(entry.worktree.gitDir))
            worktree.emplace(std::move(*opened));
        else
            lines.push_back("The worktree is gone: " + displayText(entry.worktree.gitDir, 500));
    }
    git_repository* handle = worktree ? raw(*worktree) : nullptr;
    auto standing = standingOf(repository, entry, handle);
    if (!standing)
        return std::unexpected(standing.error());
    const bool forwards = standing->moved > 0 || standing->headMoved;
    if (handle && !worktree->isBare() && entry.worktree.from != entry.worktree.to) {
        auto ours = worktreeIsOurs(handle, entry);
        if (!ours)
            return std::unexpected(ours.error());
        if (!*ours) {
            lines.push_back("The worktree was left as it is: another commit was checked out since");
        } else if (auto done = settleWorktree(entry, forwards, lines); !done) {
            return std::unexpected(done.error());
        }
    }
    for (const std::string& name : standing->strange)
        lines.push_back(displayText(name, 300) + " was left as it is: it moved since");
    if (!forwards) {
        if (auto removed = removeLogsOfGone(repository, entry); !removed)
            return std::unexpected(removed.error());
        if (auto set = setEntryState(repository, entry, EntryState::Undone); !set)
            return std::unexpected(set.error());
        return EntryState::Undone;
    }
    std::optional<HeadMove> head;
    if (standing->headToMove)
        head = HeadMove{standing->head, entry.worktree.headAfter};
    auto locks = RefLocks::take(handle ? handle : raw(repository), standing->toMove, head);
    if (!locks)
        return std::unexpected(locks.error());
    if (auto done = locks->commit("espalier: " + entry.title); !done)
        return std::unexpected(done.error());
    if (auto removed = removeLogsOfGone(repository, entry); !removed)
        return std::unexpected(removed.error());
    if (auto released = locks->release(); !released)
        return std::unexpected(released.error());
    if (auto done = finishEntry(repository, entry); !done)
        return std::unexpected(done.error());
    return EntryState::Done;
}

Resolved resolveAll(const Repository& repository, bool pushesToo)
{
    Resolved resolved;
    const auto note = [&](const std::string& id, const Result<void>& done) {
        if (!done)
            resolved.halfDone.push_back({id, {}, done.error()});
    };
    note("locks", clearLocks(repository, resolved.lines));
    for (const char* own : ownFolders)
        note(own, removeLeftTemporaries(ownFolder(repository) / own));
    for (const std::string& id : forgottenIds(repository))
        if (const auto forgotten = forgetEntry(repository, id); forgotten)
            resolved.lines.push_back("Completed after an interruption: entry " + id + " of the logbook was let go");
        else
            resolved.halfDone.push_back({id, {}, forgotten.error()});
    for (const std::string& id : openEntryIds(repository)) {
        auto entry = findEntry(repository, id);
        if (!entry && entry.error().kind == ErrorKind::NotFound) {
            // Stopped before the entry was written: nothing had happened yet but the keeping.
            note(id, abandonEntry(repository, id));
            continue;
        }
        if (!entry) {
            // What cannot be read can never be finished: it must not stand in the way of every change to come.
            resolved.lines.push_back("Passed over: " + entry.error().line());
            continue;
        }
        // What follows is for finishAftermaths().
        if (entry->state != EntryState::Begun)
            continue;
        // Whether a push arrived only the remote can tell: the next fetch asks it.
        if (!entry->remote.empty()) {
            removePushLocks(repository, *entry, resolved.lines);
            if (pushesToo)
                resolved.lines.push_back(unknownPush(*entry));
            continue;
        }
        auto state = resolveBegun(repository, *entry, resolved.lines);
        if (!state) {
            resolved.halfDone.push_back({id, entry->title, state.error()});
            continue;
        }
        const bool done = *state == EntryState::Done;
        resolved.lines.push_back((done ? "Completed after an interruption: " : "Undone after an interruption: ") +
                                 displayText(entry->title, 300));
    }
    return resolved;
}

Result<Resolved> resolveOpenEntries(const Repository& repository, const Progress& progress)
{
    if (!isAnythingLeft(repository))
        return Resolved{};
    Resolved resolved;
    {
        // Held by somebody: then nothing was interrupted, it is still at work.
        auto lock = ChangeLock::take(repository);
        if (!lock && lock.error().kind == ErrorKind::Refused)
            return Resolved{};
        if (!lock && openEntryLines(repository).empty())
            return Resolved{};
        if (!lock) {
            Error why = lock.error();
            for (const std::string& line : openEntryLines(repository))
                why.remedy += (why.remedy.empty() ? "" : ". ") + line;
            return std::unexpected(std::move(why));
        }
        resolved = resolveAll(repository, true);
    }
    finishAftermaths(repository, resolved.lines, progress);
    return resolved;
}

std::vector<std::string> openEntryLines(const Repository& repository)
{
    std::vector<std::string> lines;
    const std::vector<std::string> ids = openEntryIds(repository);
    if (ChangeLock::isHeld(repository))
        return lines;
    for (const std::string& id : ids) {
        const auto entry = findEntry(repository, id);
        if (!entry && entry.error().kind != ErrorKind::NotFound)
            lines.push_back("Passed over: " + entry.error().line());
        else if (entry && entry->state == EntryState::Begun && !entry->remote.empty())
            lines.push_back(unknownPush(*entry));
        else if (entry && entry->state == EntryState::Begun)
            lines.push_back("Half done since an interruption: " + displayText(entry->title, 300) + " (entry " + id +
                            "); the next command that changes something, or the window, completes or undoes it");
        else if (entry && entry->state == EntryState::Done && holdMark(repository, id))
            lines.push_back("Done, but not what follows it since an interruption: " + displayText(entry->title, 300) +
                            " (entry " + id +
                            "); the next command that changes something, or the window, makes up for it");
        else if (!entry)
            lines.push_back("An entry of the logbook was begun and never written (" + id +
                            "); the next command that changes something, or the window, clears it away");
    }
    // With an entry half done its line says enough: the locks are that one's.
    if (lines.empty() && hasAbandonedLocks(repository.commonDir()))
        lines.push_back(
            "Locks were left behind by an interruption; the next command that changes something, or the window, "
            "removes them");
    return lines;
}

std::string HalfDone::line() const
{
    if (!isEntryId(entry))
        return "What an interruption left cannot be cleared away: " + why.line();
    return "Half done: " + (title.empty() ? std::string("an entry of the logbook") : displayText(title, 300)) +
           " (entry " + entry + "). It cannot be finished now: " + why.line();
}

} // namespace espalier

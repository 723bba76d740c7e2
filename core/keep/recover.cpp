// SPDX-License-Identifier: MIT
//
// What becomes of a change that was stopped: when none of its refs had moved, it is undone; when one had, it is completed.
#include "core/git/text.h"
#include "core/keep/change.h"
#include "core/keep/open_entries.h"
#include "core/keep/worktree_files.h"

#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

struct Standing {
    std::size_t moved = 0;
    std::vector<RefMove> toMove; // still at the old value
    std::vector<std::string> strange;
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
        standing.headMoved = head->text == entry.worktree.headAfter;
        standing.headToMove = head->text == entry.headBefore;
    }
    return standing;
}

void clearLeftovers(const Repository& repository, const std::string& id, const LogbookEntry* entry,
                    std::vector<std::string>& lines)
{
    for (const FileMark& mark : readLockMarks(repository, id)) {
        if (removeIfSame(mark))
            lines.push_back("A lock that was left behind was removed: " + displayText(mark.path.string(), 500));
    }
    if (entry && !entry->worktree.gitDir.empty())
        ::unlink(WorktreeSession::workingCopy(entry->worktree.gitDir).c_str());
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
    return session->publish();
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

} // namespace

Result<EntryState> resolveBegun(const Repository& repository, const LogbookEntry& entry,
                                std::vector<std::string>& lines)
{
    clearLeftovers(repository, entry.id, &entry, lines);
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
        if (auto set = setEntryState(repository, entry, EntryState::Undone); !set)
            return std::unexpected(set.error());
        return EntryState::Undone;
    }
    const std::string newHead = standing->headToMove ? entry.worktree.headAfter : std::string();
    auto locks = RefLocks::take(handle ? handle : raw(repository), standing->toMove, newHead, false, entry.headBefore);
    if (!locks)
        return std::unexpected(locks.error());
    if (auto done = locks->commit("espalier: " + entry.title); !done)
        return std::unexpected(done.error());
    if (auto done = finishEntry(repository, entry); !done)
        return std::unexpected(done.error());
    return EntryState::Done;
}

Result<void> resolveAll(const Repository& repository, bool pushesToo, std::vector<std::string>& lines)
{
    for (const std::string& id : openEntryIds(repository)) {
        auto entry = findEntry(repository, id);
        if (!entry && entry.error().kind == ErrorKind::NotFound) {
            // Stopped before the entry was written: nothing had happened yet but the keeping.
            dropKeptRefs(repository, id);
            ::unlink(openMark(repository, id).c_str());
            continue;
        }
        if (!entry) {
            lines.push_back("Passed over: " + entry.error().line());
            continue;
        }
        if (entry->state != EntryState::Begun) {
            ::unlink(openMark(repository, id).c_str());
            continue;
        }
        // Whether a push arrived only the remote can tell: the next fetch asks it, see remotes/interrupted.h.
        if (!entry->remote.empty()) {
            if (pushesToo)
                lines.push_back("It is not known yet whether this arrived; fetch, and it will be: " +
                                displayText(entry->title, 300));
            continue;
        }
        auto state = resolveBegun(repository, *entry, lines);
        if (!state)
            return std::unexpected(state.error());
        const bool done = *state == EntryState::Done;
        lines.push_back((done ? "Completed after an interruption: " : "Undone after an interruption: ") +
                        displayText(entry->title, 300));
    }
    return {};
}

Result<std::vector<std::string>> recover(const Repository& repository)
{
    std::vector<std::string> lines;
    if (openEntryIds(repository).empty())
        return lines;
    // Held by somebody: then nothing was interrupted, it is still at work.
    auto lock = ChangeLock::take(repository);
    if (!lock && lock.error().kind == ErrorKind::Refused)
        return lines;
    if (!lock)
        return std::unexpected(lock.error());
    if (auto resolved = resolveAll(repository, true, lines); !resolved)
        return std::unexpected(resolved.error());
    return lines;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/keep/aftermath.h"

#include "core/git/hooks.h"
#include "core/git/text.h"
#include "core/keep/note_copies.h"
#include "core/keep/open_entries.h"

namespace espalier {

namespace {

void followNotes(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& notices)
{
    std::vector<std::string> failed;
    std::size_t copied = copyNotes(repository, entry.pairs, failed);
    // A disk that fails once may not fail twice; what is there already is not copied again.
    if (!failed.empty()) {
        failed.clear();
        copied += copyNotes(repository, entry.pairs, failed);
    }
    notices.insert(notices.end(), failed.begin(), failed.end());
    if (copied > 0)
        notices.push_back(counted(copied, "note was", "notes were") + " copied to the new commits");
}

} // namespace

bool hasAftermath(const LogbookEntry& entry)
{
    return entry.remote.empty() && (!entry.pairs.empty() || !entry.worktree.gitDir.empty());
}

void runAftermath(const Repository& repository, const LogbookEntry& entry, std::vector<std::string>& notices,
                  const Progress& progress)
{
    const auto notice = [&](std::string line) {
        if (!line.empty())
            notices.push_back(std::move(line));
    };
    if (const WorktreeMove& move = entry.worktree; !move.gitDir.empty() && !repository.isBare())
        notice(runPostCheckout(repository, move.from, move.to, true, progress));
    if (!entry.pairs.empty()) {
        // In git's own order: the notes are there when the hook looks for them.
        followNotes(repository, entry, notices);
        notice(runPostRewrite(repository, entry.pairs, progress));
    }
    (void)closeEntry(repository, entry.id);
}

void finishAftermaths(const Repository& repository, std::vector<std::string>& lines, const Progress& progress)
{
    for (const std::string& id : openEntryIds(repository)) {
        const auto held = holdMark(repository, id);
        const auto entry = findEntry(repository, id);
        // Held: its process is at it, and may be the one that has asked for this.
        if (!held || !entry || entry->state == EntryState::Begun || !isOpen(repository, id))
            continue;
        if (entry->state != EntryState::Done || !hasAftermath(*entry)) {
            (void)closeEntry(repository, id);
            continue;
        }
        std::optional<Repository> worktree;
        if (!entry->worktree.gitDir.empty())
            if (auto opened = Repository::open(entry->worktree.gitDir))
                worktree.emplace(std::move(*opened));
        runAftermath(worktree ? *worktree : repository, *entry, lines, progress);
        lines.push_back("What follows was made up for after an interruption: " + displayText(entry->title, 300));
        // A check out, of which nothing can be lost.
        if (entry->moves.empty())
            (void)forgetEntry(repository, id);
    }
}

} // namespace espalier

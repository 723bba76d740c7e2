// SPDX-License-Identifier: MIT
#include "core/keep/aftermath.h"

#include "core/git/hooks.h"
#include "core/git/text.h"
#include "core/keep/note_copies.h"

namespace espalier {

void runAftermath(const Repository& repository, Applied& applied, bool rewrites, const Progress& progress)
{
    const auto notice = [&](std::string line) {
        if (!line.empty())
            applied.notices.push_back(std::move(line));
    };
    if (const WorktreeMove& move = applied.entry.worktree; !move.gitDir.empty() && !repository.isBare())
        notice(runPostCheckout(repository, move.from, move.to, true, progress));
    if (!rewrites)
        return;
    // In git's own order: the notes are there when the hook looks for them.
    if (const std::size_t copied = copyNotes(repository, applied.entry.pairs, applied.notices))
        notice(counted(copied, "note was", "notes were") + " copied to the new commits");
    notice(runPostRewrite(repository, applied.entry.pairs, progress));
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/keep/apply.h"

#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/keep/branch_config.h"
#include "core/keep/change.h"
#include "core/refs/head.h"

namespace espalier {

namespace {

bool exists(const Repository& repository, const Oid& id)
{
    Handle<git_odb> odb;
    const git_oid raw = toGit(id);
    return git_repository_odb(out(odb), espalier::raw(repository)) == 0 && git_odb_exists(odb.get(), &raw) == 1;
}

// The refs of an entry back to where they stood; HEAD too, where the entry took it along.
Result<Change> reverse(const Repository& repository, const LogbookEntry& entry, bool evenIfMoved)
{
    Change change;
    change.kind = EntryKind::Restore;
    change.title = "Take back: " + entry.title;
    change.takesBack = entry.id;
    auto head = readHead(raw(repository));
    if (!head)
        return std::unexpected(head.error());
    for (const RefMove& move : entry.moves) {
        if (!move.old.isZero() && !exists(repository, move.old))
            return fail(ErrorKind::Broken, "The old tip is no longer in the repository", move.old.hex(),
                        "git fsck --lost-found may find it");
        if (move.name == "HEAD")
            continue;
        auto now = readRef(raw(repository), move.name);
        if (!now)
            return std::unexpected(now.error());
        if (*now != move.now && !evenIfMoved)
            return fail(ErrorKind::Refused,
                        now->isZero() ? "The branch is gone since" : "The branch moved since, to " + now->brief(),
                        displayText(move.name, 300),
                        "Take it back anyway: what stands there now is then kept in the logbook too");
        if (*now != move.old)
            change.moves.push_back({move.name, *now, move.old});
    }
    // Only where HEAD still is what the entry made of it: somebody who checked out something else since stays there.
    const bool headFollows = !entry.worktree.headAfter.empty() && head->text == entry.worktree.headAfter;
    if (headFollows && entry.headBefore != head->text)
        change.newHead = entry.headBefore;
    return change;
}

} // namespace

Result<Applied> moveTracking(const Repository& repository, const std::string& title, const std::vector<RefMove>& moves)
{
    return carryOut(repository, {.kind = EntryKind::Fetch, .title = title, .moves = moves}, {});
}

Result<Applied> apply(const Repository& repository, const Rewrite& rewrite, const Progress& progress)
{
    Change change;
    change.kind = EntryKind::Replay;
    change.title = rewrite.title;
    change.moves = rewrite.moves;
    change.pairs = rewrite.pairs;
    change.objects = rewrite.objects;
    change.rewrites = true;
    change.replaysOnto = rewrite.onto;
    change.sign = rewrite.sign;
    return carryOut(repository, std::move(change), progress);
}

Result<Applied> restore(const Repository& repository, const std::string& entryId, bool evenIfMoved,
                        const Progress& progress)
{
    auto entry = findEntry(repository, entryId);
    if (!entry)
        return std::unexpected(entry.error());
    if (!entry->remote.empty())
        return fail(ErrorKind::Usage, "This entry is about " + displayText(entry->remote, 100) + ", not the clone",
                    entryId, "Take the push back instead");
    if (!entry->restorable())
        return fail(ErrorKind::Refused,
                    "This entry cannot be taken back: it is " + std::string(entryStateName(entry->state)), entryId,
                    "The logbook tells which entries can");
    auto change = reverse(repository, *entry, evenIfMoved);
    if (!change)
        return std::unexpected(change.error());
    return carryOut(repository, std::move(*change), progress);
}

} // namespace espalier

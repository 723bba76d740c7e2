// SPDX-License-Identifier: MIT
#include "core/keep/change.h"

#include "core/git/filters.h"
#include "core/git/hooks.h"
#include "core/git/index_file.h"
#include "core/git/text.h"
#include "core/keep/aftermath.h"
#include "core/keep/apply_steps.h"
#include "core/keep/branch_config.h"
#include "core/keep/open_entries.h"
#include "core/keep/signed_rewrite.h"
#include "core/keep/worktree_files.h"
#include "core/refs/held_branches.h"
#include "core/refs/ref_locks.h"
#include "core/refs/ref_name.h"
#include "core/refs/ref_tips.h"
#include "core/refs/ref_transaction.h"
#include "core/replay/commit_table.h"

#include <unistd.h>

namespace espalier {

namespace {

namespace fs = std::filesystem;

// Where HEAD and the worktree stand and will stand.
struct Course {
    Head head;
    std::string headAfter;
    Oid tipAfter;
    bool changesHead = false;   // another branch or commit is checked out
    bool movesWorktree = false; // the commit that is checked out changes
    bool needsHead = false;     // it matters what is checked out: HEAD is held while refs move
};

std::string inProgress(git_repository* handle)
{
    switch (git_repository_state(handle)) {
    case GIT_REPOSITORY_STATE_NONE:
        return {};
    case GIT_REPOSITORY_STATE_MERGE:
        return "a merge";
    case GIT_REPOSITORY_STATE_REVERT:
    case GIT_REPOSITORY_STATE_REVERT_SEQUENCE:
        return "a revert";
    case GIT_REPOSITORY_STATE_CHERRYPICK:
    case GIT_REPOSITORY_STATE_CHERRYPICK_SEQUENCE:
        return "a cherry-pick";
    case GIT_REPOSITORY_STATE_BISECT:
        return "a bisection";
    case GIT_REPOSITORY_STATE_APPLY_MAILBOX:
        return "the application of mails";
    default:
        return "a rebase";
    }
}

Result<Course> courseOf(const Repository& repository, const Change& change)
{
    Course course;
    auto head = readHead(raw(repository));
    if (!head)
        return std::unexpected(head.error());
    course.head = *head;
    course.headAfter = change.newHead.empty() ? head->text : change.newHead;
    course.changesHead = course.headAfter != head->text;
    if (const auto id = Oid::parse(course.headAfter)) {
        course.tipAfter = *id;
    } else {
        const auto move = std::ranges::find(change.moves, course.headAfter, &RefMove::name);
        if (move != change.moves.end()) {
            course.tipAfter = move->now;
        } else {
            auto tip = readRef(raw(repository), course.headAfter);
            if (!tip)
                return std::unexpected(tip.error());
            course.tipAfter = *tip;
        }
    }
    if (course.tipAfter.isZero() && !(course.head.unborn() && !course.changesHead))
        return fail(ErrorKind::Refused, "The branch that is checked out would be gone", shownRef(course.headAfter),
                    "Check out another branch first");
    course.movesWorktree = !repository.isBare() && course.tipAfter != course.head.tip;
    course.needsHead =
        course.movesWorktree || course.changesHead ||
        std::ranges::any_of(change.moves, [](const RefMove& move) { return move.name.starts_with(headsPrefix); });
    return course;
}

Result<void> checkFilters(const Repository& repository, const std::vector<PathChange>& moves)
{
    std::vector<std::string> paths;
    for (const PathChange& move : moves) {
        if (isRegularFile(move.after.mode))
            paths.push_back(move.path);
    }
    auto held = filteredPaths(repository, paths);
    if (!held)
        return std::unexpected(held.error());
    if (held->empty())
        return {};
    const std::string more = held->size() > 1 ? " and " + std::to_string(held->size() - 1) + " more" : "";
    return fail(ErrorKind::Refused, "A file goes through a filter that cannot be run here",
                displayText(held->front(), 300) + more, "Check the branch out with git itself");
}

Result<void> checkWorktree(const Repository& repository, const Change& change, const Course& course,
                           const Progress& progress)
{
    if (repository.configBool("core.sparseCheckout", false))
        return fail(ErrorKind::Unsupported, "The worktree is sparse, and moving it is not supported",
                    repository.workDir().string(), "Turn it off with git sparse-checkout disable");
    // A handle of its own, so that the index is read anew.
    auto own = Repository::open(repository.path());
    if (!own)
        return std::unexpected(own.error());
    Handle<git_index> index;
    if (auto opened = openIndex(*own, index); !opened)
        return opened;
    // The new objects are not in the repository yet.
    ObjectStore store(*own);
    if (change.objects)
        store.replaceNewObjects(*change.objects);
    auto moves = pathMoves(store, course.head.tip, course.tipAfter, progress);
    if (!moves)
        return std::unexpected(moves.error());
    if (auto runnable = checkFilters(*own, *moves); !runnable)
        return runnable;
    return checkPaths(raw(*own), index.get(), *moves);
}

// No other worktree and no operation of git's holds a branch that moves.
Result<void> checkNotElsewhere(const std::vector<HeldBranch>& held, const std::string& ref)
{
    const auto other =
        std::ranges::find_if(held, [&](const HeldBranch& each) { return !each.here && each.ref == ref; });
    if (other == held.end())
        return {};
    return fail(ErrorKind::Refused,
                "The branch is checked out in another worktree, " + displayText(other->where.string(), 500),
                shownRef(ref), "Check out something else there, then try again");
}

Result<void> checkNobodyElse(const Repository& repository, const std::vector<RefMove>& moves, const Course& course,
                             EntryKind kind)
{
    const std::string running = inProgress(raw(repository));
    const bool disturbs = course.movesWorktree || course.changesHead || kind == EntryKind::Replay;
    if (!running.empty() && disturbs)
        return fail(ErrorKind::Refused, "git has " + running + " in progress here", repository.path().string(),
                    "Finish or abort it first");
    const std::vector<HeldBranch> held = heldBranches(repository);
    for (const RefMove& move : moves) {
        if (auto checked = checkNotElsewhere(held, move.name); !checked)
            return checked;
        if (!running.empty() && move.name != course.head.text &&
            std::ranges::any_of(held, [&](const HeldBranch& each) { return each.here && each.ref == move.name; }))
            return fail(ErrorKind::Refused, "git has " + running + " of this branch in progress", shownRef(move.name),
                        "Finish or abort it first");
    }
    return course.changesHead && !Oid::parse(course.headAfter) ? checkNotElsewhere(held, course.headAfter)
                                                               : Result<void>{};
}

Result<void> checkAll(const Repository& repository, const Change& change, const Course& course,
                      const Progress& progress)
{
    if (auto checked = checkMoves(raw(repository), change.moves); !checked)
        return checked;
    if (auto checked = checkNobodyElse(repository, change.moves, course, change.kind); !checked)
        return checked;
    return course.movesWorktree ? checkWorktree(repository, change, course, progress) : Result<void>{};
}

// Whether some ref leads to the commit; else it is nobody's but HEAD's.
bool isReachable(const Repository& repository, const Oid& commit)
{
    const auto tips = commitsOfRefs(repository);
    if (!tips)
        return false;
    ObjectStore store(repository);
    const auto alone = CommitTable(repository).reachedOnlyBy(store, commit, *tips);
    return alone && alone->empty();
}

LogbookEntry entryFor(const Repository& repository, const Change& change, const Course& course)
{
    LogbookEntry entry;
    entry.kind = change.kind;
    entry.title = change.title;
    entry.moves = change.moves;
    entry.pairs = change.pairs;
    entry.headBefore = course.head.text;
    entry.takesBack = change.takesBack;
    if (course.movesWorktree || course.changesHead)
        entry.worktree = {repository.gitDir().string(), course.head.tip, course.tipAfter, course.headAfter};
    if (course.head.detached && course.changesHead && !isReachable(repository, course.head.tip))
        entry.moves.push_back({"HEAD", course.head.tip, course.tipAfter});
    for (const RefMove& move : change.moves) {
        if (!move.now.isZero())
            continue;
        for (auto& line : readBranchConfig(repository, shortBranchName(move.name), true))
            entry.branchConfig.push_back(std::move(line));
    }
    return entry;
}

void passRefStep(RefLocks::Step step)
{
    passApplyStep(step == RefLocks::Step::Deleted ? ApplyStep::RefsDeleted : ApplyStep::PartMoved);
}

// From the entry to the moved refs. What it took is let go when it returns, however it returns. `touched` tells after a
// failure whether there is anything to take back.
Result<void> moveAll(const Repository& repository, const LogbookEntry& entry, const Course& course,
                     const Progress& progress, std::vector<std::string>& notices, bool& touched)
{
    auto own = Repository::open(repository.path());
    if (!own)
        return std::unexpected(own.error());
    std::optional<WorktreeSession> session;
    std::vector<PathChange> paths;
    if (course.movesWorktree) {
        ObjectStore store(*own);
        auto compared = pathMoves(store, course.head.tip, course.tipAfter);
        if (!compared)
            return std::unexpected(compared.error());
        paths = std::move(*compared);
    }
    if (!paths.empty()) {
        auto begun = WorktreeSession::begin(repository.path());
        if (!begun)
            return std::unexpected(begun.error());
        session.emplace(std::move(*begun));
    }
    std::optional<LockFiles> heldIndex;
    if (course.needsHead && !session && !own->isBare()) {
        auto held = WorktreeSession::holdIndex(*own);
        if (!held)
            return std::unexpected(held.error());
        heldIndex.emplace(std::move(*held));
    }
    std::optional<HeadMove> head;
    if (course.needsHead)
        head = HeadMove{course.head, course.changesHead ? course.headAfter : std::string()};
    auto locks = RefLocks::take(raw(*own), branchMoves(entry), head);
    if (!locks)
        return std::unexpected(locks.error());
    passApplyStep(ApplyStep::Locked);
    // What was looked at before the locks may have changed since: another worktree, an operation that git has begun.
    if (auto checked = checkNobodyElse(repository, branchMoves(entry), course, entry.kind); !checked)
        return checked;
    std::vector<RefMove> told = branchMoves(entry);
    std::ranges::move(keptMoves(entry), std::back_inserter(told));
    auto hook = RefTransactionHook::prepare(repository, transactionLines(told), progress);
    if (!hook)
        return std::unexpected(hook.error());
    if (session) {
        if (auto checked = checkPaths(session->handle(), session->index(), paths); !checked)
            return checked;
        passApplyStep(ApplyStep::PathsChecked);
        touched = true;
        if (auto moved = moveFiles(*session, paths, notices); !moved)
            return moved;
        passApplyStep(ApplyStep::WorktreeMoved);
        if (auto published = session->publish(); !published)
            return published;
    }
    touched = true;
    passApplyStep(ApplyStep::IndexMoved);
    if (auto moved = locks->commit("espalier: " + entry.title, passRefStep); !moved)
        return moved;
    passApplyStep(ApplyStep::RefsMoved);
    if (std::string notice = hook->committed(); !notice.empty())
        notices.push_back(std::move(notice));
    // HEAD says now what index and worktree hold: only here may others go on.
    if (auto released = locks->release(); !released)
        return released;
    return session ? session->release() : heldIndex ? heldIndex->release() : Result<void>();
}

// After a failure: nothing may stay half done, and the user reads the reason, not the repair. True: the change is done after
// all, which is what was asked for; `lines` then tell of the failure.
Result<bool> resolveFailed(const Repository& repository, const LogbookEntry& entry, Error error,
                           std::vector<std::string>& lines)
{
    std::vector<std::string> repairs;
    const auto state = resolveBegun(repository, entry, repairs);
    if (state && *state == EntryState::Done) {
        lines.push_back("Completed at the second attempt, after: " + error.line());
        lines.insert(lines.end(), repairs.begin(), repairs.end());
        return true;
    }
    if (!state)
        error.remedy += (error.remedy.empty() ? "" : ". ") + HalfDone{entry.id, entry.title, state.error()}.line();
    else
        (void)abandonEntry(repository, entry.id);
    for (const std::string& line : repairs)
        error.remedy += ". " + line;
    return std::unexpected(std::move(error));
}

} // namespace

std::vector<RefMove> branchMoves(const LogbookEntry& entry)
{
    std::vector<RefMove> moves = entry.moves;
    std::erase_if(moves, [](const RefMove& move) { return move.name == "HEAD"; });
    return moves;
}

Result<void> finishEntry(const Repository& repository, const LogbookEntry& entry)
{
    const std::vector<RefMove> moves = branchMoves(entry);
    if (const auto rename = renameIn(moves)) {
        if (auto done = renameBranchConfig(repository, rename->first, rename->second); !done)
            return done;
    } else {
        for (const RefMove& move : moves) {
            if (!move.now.isZero())
                continue;
            if (auto done = removeBranchConfig(repository, shortBranchName(move.name)); !done)
                return done;
        }
    }
    if (!entry.takesBack.empty()) {
        if (auto taken = findEntry(repository, entry.takesBack)) {
            if (!renameIn(moves)) {
                if (auto done = addConfigLines(repository, taken->branchConfig); !done)
                    return done;
            }
            if (auto done = setEntryState(repository, *taken, EntryState::TakenBack); !done)
                return done;
        }
    }
    passApplyStep(ApplyStep::ConfigMoved);
    return setEntryState(repository, entry, EntryState::Done, hasAftermath(entry));
}

Result<Applied> carryOut(const Repository& repository, Change change, const Progress& progress)
{
    std::erase_if(change.moves, [](const RefMove& move) { return move.old == move.now; });
    auto course = courseOf(repository, change);
    if (!course)
        return std::unexpected(course.error());
    if (auto checked = checkAll(repository, change, *course, progress); !checked)
        return std::unexpected(checked.error());
    if (change.moves.empty() && !course->changesHead)
        return Applied{{}, {"Everything stands there already; nothing was moved"}};
    if (progress.stopped())
        return cancelled();
    if (!change.replaysOnto.empty() && !change.moves.empty())
        if (auto allowed = runPreRebase(repository, change.replaysOnto, shownRef(change.moves.front().name), progress);
            !allowed)
            return std::unexpected(allowed.error());
    auto lock = ChangeLock::take(repository);
    if (!lock)
        return std::unexpected(lock.error());
    Applied applied;
    Resolved resolved = resolveAll(repository, false);
    if (!resolved.halfDone.empty())
        return std::unexpected(Error{ErrorKind::Broken, resolved.halfDone.front().line(), {}, {}});
    applied.notices = std::move(resolved.lines);
    if (change.sign) {
        if (auto done = signRewrite(repository, change, progress); !done)
            return std::unexpected(done.error());
        course = courseOf(repository, change);
        if (!course)
            return std::unexpected(course.error());
        applied.notices.push_back("The new commits were signed, so their ids differ from those of the dry run");
    }
    passApplyStep(ApplyStep::Checked);
    if (change.objects && change.objects->count() > 0) {
        progress.report("Writing objects");
        if (auto written = writeObjects(repository, *change.objects, progress); !written)
            return std::unexpected(written.error());
    }
    passApplyStep(ApplyStep::ObjectsWritten);
    auto entry = beginEntry(repository, entryFor(repository, change, *course));
    if (!entry)
        return std::unexpected(entry.error());
    // From here on refs lead to them. A gc in between may have taken them for rubbish.
    if (change.objects) {
        if (auto written = writeObjects(repository, *change.objects, progress); !written) {
            (void)abandonEntry(repository, entry->id);
            return std::unexpected(written.error());
        }
    }
    passApplyStep(ApplyStep::EntryBegun);
    progress.report("Moving branches and worktree");
    bool touched = false;
    auto moved = moveAll(repository, *entry, *course, progress, applied.notices, touched);
    if (!moved && !touched) {
        (void)abandonEntry(repository, entry->id);
        return std::unexpected(moved.error());
    }
    if (auto finished = moved ? finishEntry(repository, *entry) : moved; !finished)
        if (auto done = resolveFailed(repository, *entry, finished.error(), applied.notices); !done)
            return std::unexpected(done.error());
    passApplyStep(ApplyStep::Done);
    entry->state = EntryState::Done;
    {
        const auto held = hasAftermath(*entry) ? holdMark(repository, entry->id) : Result<Fd>();
        {
            // The change is whole. A hook may take its time, and may ask for a change of its own.
            const ChangeLock given = std::move(*lock);
        }
        if (hasAftermath(*entry) && held)
            runAftermath(repository, *entry, applied.notices, progress);
    }
    if (!change.record && entry->moves.size() == change.moves.size()) {
        (void)forgetEntry(repository, entry->id);
        entry->id.clear();
    }
    applied.entry = std::move(*entry);
    return applied;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/remotes/push.h"

#include "core/git/hooks.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/keep/storage.h"
#include "core/refs/head.h"
#include "core/refs/ref_name.h"
#include "core/remotes/fetching.h"
#include "core/remotes/push_target.h"

namespace espalier {

namespace {

std::string shown(const std::string& text) { return displayText(text, 300); }

bool exists(const Repository& repository, const Oid& id)
{
    Handle<git_commit> commit;
    const git_oid raw = toGit(id);
    return git_commit_lookup(out(commit), espalier::raw(repository), &raw) == 0;
}

bool descends(const Repository& repository, const Oid& above, const Oid& below)
{
    const git_oid a = toGit(above), b = toGit(below);
    return above == below || git_graph_descendant_of(raw(repository), &a, &b) == 1;
}

struct Order {
    EntryKind kind = EntryKind::Push;
    std::string title, remote, branch, localRef; // localRef: for the hook
    std::string takesBack;
    Oid now;                   // zero: delete
    std::optional<Oid> expect; // what the user saw
};

Result<void> checkLease(const Repository& repository, const Order& order, const Oid& advertised)
{
    if (order.expect && *order.expect != advertised)
        return fail(ErrorKind::Refused,
                    "The branch on " + shown(order.remote) + " moved since it was looked at: it is " +
                        (advertised.isZero() ? "gone" : "at " + advertised.brief()) + " now",
                    shown(order.branch), "Look again at what would be overwritten");
    if (advertised.isZero() || order.expect)
        return {};
    if (!exists(repository, advertised))
        return fail(ErrorKind::Refused, shown(order.remote) + " has commits of the branch that were never fetched",
                    shown(order.branch), "Fetch, then look at the overwrite check");
    if (!descends(repository, order.now, advertised))
        return fail(ErrorKind::Refused, "A plain push would not fast-forward the branch on " + shown(order.remote),
                    shown(order.branch), "Look at the overwrite check, and confirm what it shows");
    return {};
}

// The tracking ref follows what was pushed, as after a fetch.
void followPush(const Repository& repository, git_remote* remote, const std::string& ref, const Oid& now)
{
    const std::string tracking = trackingRef(remote, ref);
    if (tracking.empty())
        return;
    if (now.isZero()) {
        git_reference_remove(raw(repository), tracking.c_str());
        return;
    }
    const git_oid id = toGit(now);
    Handle<git_reference> made;
    git_reference_create(out(made), raw(repository), tracking.c_str(), &id, 1, "espalier: update by push");
}

// The remote stood there already. A branch that is gone there takes its tracking ref along; where that had a tip that was
// not pushed from here, the logbook keeps it.
Result<Pushed> followEarlier(const Repository& repository, git_remote* remote, const std::string& ref,
                             const Order& order, Pushed pushed)
{
    const std::string tracking = trackingRef(remote, ref);
    if (tracking.empty())
        return pushed;
    if (!order.now.isZero()) {
        followPush(repository, remote, ref, order.now);
        return pushed;
    }
    const auto stands = readRef(raw(repository), tracking);
    if (!stands || stands->isZero())
        return pushed;
    auto done = moveTracking(repository, "Forget " + order.branch + ", which is gone on " + order.remote,
                             {{tracking, *stands, Oid{}}});
    if (!done)
        return std::unexpected(done.error());
    pushed.entry = std::move(done->entry);
    return pushed;
}

// After an attempt that failed: the entry goes where the remote is known to be untouched; else it stays open for the next
// fetch, and the error says so, also when the user stopped it.
std::unexpected<Error> settleFailure(const Repository& repository, const LogbookEntry& entry, PushFailure failure)
{
    Error& error = failure.error;
    if (failure.untouched) {
        if (setEntryState(repository, entry, EntryState::Undone))
            (void)forgetEntry(repository, entry.id);
        return std::unexpected(std::move(error));
    }
    const std::string unknown = shown(entry.remote) + " may have taken it already; fetch, and it shows";
    if (error.kind == ErrorKind::Cancelled)
        return cancelled(unknown);
    error.remedy += (error.remedy.empty() ? "" : ". ") + unknown;
    return std::unexpected(std::move(error));
}

// The remote's branch, looked at and ready to be moved.
struct Looked {
    std::unique_ptr<PushTarget> target;
    Oid advertised;
};
Result<Looked> lookFirst(const Repository& repository, const Order& order, const std::string& ref,
                         Connection& connection, const Access& access, const Progress& progress)
{
    // The old tip must be here before it is overwritten: it is what the logbook keeps.
    if (order.expect && !order.expect->isZero() && !exists(repository, *order.expect)) {
        if (auto fetched = fetchAndLook(repository, order.remote, access, progress); !fetched)
            return std::unexpected(fetched.error());
        if (!exists(repository, *order.expect))
            return fail(ErrorKind::Refused,
                        "The tip that was to be overwritten is not on " + shown(order.remote) + " any more",
                        order.expect->hex(), "Look again at what would be overwritten");
    }
    if (auto found = connection.find(order.remote); !found)
        return std::unexpected(found.error());
    progress.report("Connecting");
    auto target = openTarget(repository, connection, progress);
    if (!target)
        return std::unexpected(target.error());
    auto advertised = (*target)->advertised(ref);
    if (!advertised)
        return std::unexpected(advertised.error());
    // Somebody else deleted what is to be deleted: that is what was asked for.
    if (!(order.now.isZero() && advertised->isZero())) {
        if (auto checked = checkLease(repository, order, *advertised); !checked)
            return std::unexpected(checked.error());
    }
    return Looked{std::move(*target), *advertised};
}

// Until the remote is asked to move its branch, a stop leaves it as it was.
template <typename T> Result<T> saidOf(const Order& order, Result<T> result)
{
    if (!result && result.error().kind == ErrorKind::Cancelled)
        return cancelled("Nothing was changed on " + shown(order.remote));
    return result;
}

Result<Pushed> sendOrder(const Repository& repository, const Order& order, const Access& access,
                         const Progress& progress)
{
    Connection connection(&repository, access, progress);
    const std::string ref = branchRef(order.branch);
    auto looked = saidOf(order, lookFirst(repository, order, ref, connection, access, progress));
    if (!looked)
        return std::unexpected(looked.error());
    const Oid advertised = looked->advertised;
    PushTarget& target = *looked->target;
    Pushed pushed{order.branch, advertised, order.now, false, {}, {}};
    if (advertised == order.now) {
        pushed.notices.push_back(shown(order.branch) +
                                 (order.now.isZero() ? " is gone already on " : " stands there already on ") +
                                 shown(order.remote));
        return followEarlier(repository, connection.remote(), ref, order, std::move(pushed));
    }
    pushed.forced = !advertised.isZero() && !order.now.isZero() && !descends(repository, order.now, advertised);
    const HookRef hookRef{order.now.isZero() ? "(delete)" : order.localRef, order.now, ref, advertised};
    if (auto allowed = saidOf(
            order, runPrePush(repository, order.remote, connection.url(GIT_DIRECTION_PUSH), {hookRef}, progress.stop));
        !allowed)
        return std::unexpected(allowed.error());
    if (progress.stopped())
        return saidOf(order, Result<Pushed>(cancelled()));
    auto lock = ChangeLock::take(repository);
    if (!lock)
        return std::unexpected(lock.error());
    LogbookEntry entry;
    entry.kind = order.kind;
    entry.title = order.title;
    entry.remote = order.remote;
    entry.takesBack = order.takesBack;
    entry.moves = {{ref, advertised, order.now}};
    auto begun = beginEntry(repository, std::move(entry));
    if (!begun)
        return std::unexpected(begun.error());
    if (auto updated = target.update(ref, advertised, order.now); !updated) {
        PushFailure failure = updated.error();
        for (const std::string& said : target.takeSaid())
            failure.error.what += " / " + said;
        if (failure.untouched)
            failure.error = saidOf(order, Result<void>(std::unexpected(failure.error))).error();
        return settleFailure(repository, *begun, std::move(failure));
    }
    followPush(repository, connection.remote(), ref, order.now);
    if (!order.takesBack.empty()) {
        if (auto taken = findEntry(repository, order.takesBack))
            (void)setEntryState(repository, *taken, EntryState::TakenBack);
    }
    if (auto done = setEntryState(repository, *begun, EntryState::Done); !done)
        return std::unexpected(done.error());
    begun->state = EntryState::Done;
    pushed.entry = std::move(*begun);
    pushed.notices = target.takeSaid();
    return pushed;
}

} // namespace

Result<Pushed> push(const Repository& repository, const PushRequest& request, const Access& access,
                    const Progress& progress)
{
    Order order;
    order.branch = request.branch;
    order.localRef = branchRef(request.branch);
    order.remote = request.remote.empty() ? guessRoles(repository, readRemotes(repository)).fork : request.remote;
    order.expect = request.expect;
    if (order.remote.empty())
        return fail(ErrorKind::Refused, "There is no fork to push to", repository.path().string(),
                    "Add a remote and choose it as the fork");
    auto tip = readRef(raw(repository), order.localRef);
    if (!tip)
        return std::unexpected(tip.error());
    if (tip->isZero())
        return fail(ErrorKind::NotFound, "There is no such branch", shown(request.branch),
                    "Look at the list of branches");
    order.now = *tip;
    order.title = "Push " + request.branch + " to " + order.remote;
    return sendOrder(repository, order, access, progress);
}

Result<Pushed> restorePush(const Repository& repository, const std::string& entryId, const Access& access,
                           const Progress& progress, const std::optional<Oid>& expect)
{
    auto entry = findEntry(repository, entryId);
    if (!entry)
        return std::unexpected(entry.error());
    if (entry->remote.empty() || entry->moves.size() != 1)
        return fail(ErrorKind::Usage, "This entry is not about a push", entryId,
                    "Take it back like a change of the clone");
    if (!entry->restorable())
        return fail(ErrorKind::Refused,
                    "This entry cannot be taken back: it is " + std::string(entryStateName(entry->state)), entryId,
                    "The logbook tells which entries can");
    const RefMove& move = entry->moves.front();
    Order order;
    order.kind = EntryKind::Restore;
    order.title = "Take back: " + entry->title;
    order.remote = entry->remote;
    order.branch = shortBranchName(move.name);
    order.localRef = keptRef(entry->id, 0);
    order.takesBack = entry->id;
    order.now = move.old;
    order.expect = expect.value_or(move.now);
    return sendOrder(repository, order, access, progress);
}

Result<Pushed> deleteRemoteBranch(const Repository& repository, const std::string& remote, const std::string& branch,
                                  const Oid& expect, const Access& access, const Progress& progress)
{
    Order order;
    order.kind = EntryKind::CleanUp;
    order.title = "Delete " + branch + " on " + remote;
    order.remote = remote;
    order.branch = branch;
    order.expect = expect;
    return sendOrder(repository, order, access, progress);
}

} // namespace espalier

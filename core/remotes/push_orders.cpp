// SPDX-License-Identifier: MIT
#include "core/remotes/push_orders.h"

#include "core/git/hooks.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/keep/open_entries.h"
#include "core/keep/push_locks.h"
#include "core/keep/storage.h"
#include "core/refs/head.h"
#include "core/refs/ref_locks.h"
#include "core/refs/ref_name.h"
#include "core/refs/ref_transaction.h"
#include "core/remotes/fetching.h"
#include "core/remotes/fork_objects.h"

namespace espalier {

namespace {

std::string shown(const std::string& text) { return displayText(text, 300); }

Oid valueIn(const Advertised& refs, const std::string& name)
{
    const auto at = refs.find(name);
    return at == refs.end() ? Oid{} : at->second;
}

// One branch on its way.
struct Passage {
    const PushOrder* order = nullptr;
    Oid old; // what stands there
    bool forced = false, isThere = false;
    LogbookEntry entry;
    enum class State { Arrived, Untouched, Unknown } state = State::Unknown;
    std::string reason; // for what did not arrive
    std::vector<std::string> notices;
};

class Pusher {
  public:
    Pusher(const Repository& repository, std::string remote, const Access& access, const Progress& progress)
        : m_repository(repository), m_remote(std::move(remote)), m_access(access), m_progress(progress)
    {
    }

    Result<std::vector<Pushed>> send(const std::vector<PushOrder>& orders)
    {
        if (auto ready = prepare(orders); !ready)
            return std::unexpected(untouched(ready.error()));
        if (std::ranges::all_of(m_passages, &Passage::isThere))
            return result();
        if (m_progress.stopped())
            return std::unexpected(untouched(cancelled().error()));
        const auto lock = ChangeLock::take(m_repository);
        if (!lock)
            return std::unexpected(lock.error());
        if (auto begun = beginEntries(); !begun)
            return std::unexpected(begun.error());
        const Sent sent = sendToAll();
        settle(sent);
        return result();
    }

  private:
    // All that comes before the remote is asked to move anything.
    Result<void> prepare(const std::vector<PushOrder>& orders)
    {
        auto way = openTransport(m_repository, m_remote, m_access, m_progress);
        if (!way)
            return std::unexpected(way.error());
        m_way = std::move(*way);
        // What broke off before has its end now, before this one makes it unknowable.
        m_notices = settleInterrupted(m_repository, m_remote, *m_way);
        for (const PushOrder& order : orders) {
            m_passages.emplace_back().order = &order;
            m_refs.push_back(order.ref);
        }
        if (auto kept = bringExpected(); !kept)
            return kept;
        auto sides = m_way->pushAddresses();
        if (!sides)
            return std::unexpected(sides.error());
        m_sides = std::move(*sides);
        for (std::size_t side = 0; side < m_sides.size(); ++side) {
            auto seen = m_way->lookWhereItPushes(side, m_refs);
            if (!seen)
                return std::unexpected(seen.error());
            m_seen.push_back(std::move(*seen));
        }
        for (Passage& passage : m_passages)
            if (auto checked = check(passage); !checked)
                return checked;
        if (auto kept = bringOld(); !kept)
            return kept;
        return runHooks();
    }

    // The old tip must be here before it is overwritten: it is what the logbook keeps.
    Result<void> bringExpected()
    {
        for (const Passage& passage : m_passages) {
            const std::optional<Oid>& expect = passage.order->expect;
            if (!expect || expect->isZero() || hasCommit(m_repository, *expect))
                continue;
            if (auto fetched = fetchAndLook(m_repository, m_remote, *m_way, m_progress); !fetched)
                return std::unexpected(fetched.error());
            if (!hasCommit(m_repository, *expect))
                return fail(ErrorKind::Refused,
                            "The tip that was to be overwritten is not on " + shown(m_remote) + " any more",
                            expect->hex(), "Look again at what would be overwritten");
        }
        return {};
    }

    // With all that it needs: a commit alone would keep nothing.
    Result<void> bringOld()
    {
        std::set<Oid> old;
        std::vector<WantedRef> refs;
        for (const Passage& passage : m_passages) {
            if (passage.old.isZero() || passage.isThere)
                continue;
            old.insert(passage.old);
            refs.push_back({passage.order->ref, passage.old, {}, false, false});
        }
        if (old.empty())
            return {};
        auto complete = m_way->areComplete(old);
        if (!complete)
            return std::unexpected(complete.error());
        return *complete ? Result<void>{} : m_way->get(refs);
    }

    Result<void> check(Passage& passage)
    {
        const PushOrder& order = *passage.order;
        std::set<Oid> stand;
        for (const Advertised& seen : m_seen)
            if (const Oid there = valueIn(seen, order.ref); there != order.now)
                stand.insert(there);
        passage.isThere = stand.empty();
        passage.old = stand.empty() ? order.now : *stand.begin();
        if (passage.isThere)
            return {};
        if (stand.size() > 1)
            return fail(ErrorKind::Refused,
                        "The addresses that " + shown(m_remote) + " pushes to hold different commits of the branch",
                        shown(order.branch), "Bring them together with git push first");
        const Oid& there = passage.old;
        if (order.expect && *order.expect != there)
            return fail(ErrorKind::Refused,
                        "The branch on " + shown(m_remote) + " moved since it was looked at: it is " +
                            (there.isZero() ? "gone" : "at " + there.brief()) + " now",
                        shown(order.branch), "Look again at what would be overwritten");
        if (!there.isZero() && !order.expect && !hasCommit(m_repository, there))
            return fail(ErrorKind::Refused, shown(m_remote) + " has commits of the branch that were never fetched",
                        shown(order.branch), "Fetch, then look at the overwrite check");
        const bool forwards = there.isZero() || order.now.isZero() || descendsFrom(m_repository, order.now, there);
        if (!forwards && !order.expect)
            return fail(ErrorKind::Refused, "A plain push would not fast-forward the branch on " + shown(m_remote),
                        shown(order.branch), "Look at the overwrite check, and confirm what it shows");
        passage.forced = !forwards;
        return {};
    }

    // As git does, once for each address.
    Result<void> runHooks()
    {
        for (std::size_t side = 0; side < m_sides.size(); ++side) {
            std::vector<HookRef> refs;
            for (const RefMove& move : movesFor(side)) {
                const auto at =
                    std::ranges::find(m_passages, move.name, [](const Passage& one) { return one.order->ref; });
                refs.push_back({move.now.isZero() ? "(delete)" : at->order->localRef, move.now, move.name, move.old});
            }
            if (refs.empty())
                continue;
            if (auto allowed = runPrePush(m_repository, m_remote, m_sides[side], refs, m_progress); !allowed)
                return allowed;
        }
        return {};
    }

    std::vector<RefMove> movesFor(std::size_t side) const
    {
        std::vector<RefMove> moves;
        for (const Passage& passage : m_passages)
            if (valueIn(m_seen[side], passage.order->ref) != passage.order->now)
                moves.push_back({passage.order->ref, passage.old, passage.order->now});
        return moves;
    }

    Result<void> beginEntries()
    {
        for (Passage& passage : m_passages) {
            if (passage.isThere)
                continue;
            const PushOrder& order = *passage.order;
            LogbookEntry entry;
            entry.kind = order.kind;
            entry.title = order.title;
            entry.remote = m_remote;
            for (const std::string& side : m_sides)
                if (const auto folder = folderOfAddress(m_repository, side); !folder.empty())
                    entry.folders.push_back(folder.string());
            entry.takesBack = order.takesBack;
            entry.moves = {{order.ref, passage.old, order.now}};
            auto begun = beginEntry(m_repository, std::move(entry));
            if (!begun) {
                for (Passage& before : m_passages)
                    forget(before);
                return std::unexpected(begun.error());
            }
            passage.entry = std::move(*begun);
        }
        return askToKeep();
    }

    // The hook reference-transaction, about the tips that are kept: nothing was sent yet.
    Result<void> askToKeep()
    {
        std::vector<RefMove> moves;
        for (const Passage& passage : m_passages)
            if (!passage.isThere)
                std::ranges::move(keptMoves(passage.entry), std::back_inserter(moves));
        auto hook = RefTransactionHook::prepare(m_repository, transactionLines(moves), m_progress);
        if (hook) {
            (void)hook->committed();
            return {};
        }
        for (Passage& passage : m_passages)
            if (!passage.isThere)
                (void)abandonEntry(m_repository, std::exchange(passage.entry, {}).id);
        return std::unexpected(untouched(hook.error()));
    }

    void forget(Passage& passage)
    {
        if (!passage.entry.id.empty() && setEntryState(m_repository, passage.entry, EntryState::Undone))
            (void)forgetEntry(m_repository, passage.entry.id);
        passage.entry = {};
    }

    // All sides one after the other; what a side said no to is not tried at the next. The error of the first that failed.
    Sent sendToAll()
    {
        Sent all;
        bool isFirst = true;
        for (std::size_t side = 0; side < m_sides.size() && !all.error; ++side) {
            const std::vector<RefMove> moves = movesFor(side);
            if (moves.empty())
                continue;
            Sent sent = m_way->send(side, moves);
            if (moves.size() > 1 && !sent.allOrNothing && !sent.error)
                m_notices.push_back(shown(m_sides[side]) +
                                    " takes branches one by one: some might have arrived without the others");
            for (const RefMove& move : moves)
                all.answers[move.name] = sent.answer(move.name);
            all.error = std::move(sent.error);
            all.nothingSent = isFirst && sent.nothingSent;
            isFirst = false;
        }
        for (std::string& said : m_way->takeSaid())
            m_notices.push_back(std::move(said));
        if (const std::string notice = m_way->notice(); !notice.empty())
            m_notices.push_back(notice);
        return all;
    }

    // What stands there now counts, not what was said on the way.
    void settle(const Sent& sent)
    {
        m_error = sent.error;
        m_nothingSent = sent.nothingSent;
        const bool stopped = sent.error && sent.error->kind == ErrorKind::Cancelled;
        std::vector<std::optional<Advertised>> after;
        for (std::size_t side = 0; side < m_sides.size(); ++side) {
            auto seen =
                stopped ? Result<Advertised>(std::unexpected(*sent.error)) : m_way->lookWhereItPushes(side, m_refs);
            if (seen)
                bringAgain(side, *seen);
            after.push_back(seen ? std::optional(std::move(*seen)) : std::nullopt);
        }
        for (Passage& passage : m_passages) {
            if (passage.isThere) {
                passage.state = Passage::State::Arrived;
                continue;
            }
            const RefAnswer answer = sent.answer(passage.order->ref);
            passage.reason = displayText(answer.reason, 500);
            passage.state = stateOf(passage, answer, after);
            // git itself may have died on the way and left what it held; or it could not remove it, and said yes all the same.
            removePushLocks(m_repository, passage.entry, m_notices);
            close(passage);
        }
    }

    // The branch stands where it was to; in a folder of this machine what it leads to is looked for too.
    void bringAgain(std::size_t side, const Advertised& seen)
    {
        const auto folder = folderOfAddress(m_repository, m_sides[side]);
        std::vector<Oid> tips;
        std::set<std::string> refs;
        for (const Passage& passage : m_passages) {
            const PushOrder& order = *passage.order;
            if (passage.isThere || order.now.isZero() || valueIn(seen, order.ref) != order.now)
                continue;
            tips.push_back(order.now);
            refs.insert(order.ref);
        }
        if (folder.empty() || tips.empty())
            return;
        if (auto brought = bringToFolder(m_repository, folder, tips, m_progress); !brought) {
            m_error = brought.error();
            m_hollow.merge(refs);
        }
    }

    Passage::State stateOf(Passage& passage, const RefAnswer& answer,
                           const std::vector<std::optional<Advertised>>& after)
    {
        using Kind = RefAnswer::Kind;
        using State = Passage::State;
        const PushOrder& order = *passage.order;
        const bool refused = answer.kind == Kind::RefusedHere || answer.kind == Kind::RefusedThere;
        if (m_hollow.contains(order.ref))
            return State::Unknown;
        std::size_t arrived = 0, asBefore = 0;
        for (const auto& seen : after) {
            const Oid there = seen ? valueIn(*seen, order.ref) : Oid{};
            arrived += seen && there == order.now ? 1 : 0;
            asBefore += seen && there == passage.old ? 1 : 0;
        }
        if (arrived == after.size())
            return State::Arrived;
        if (answer.kind == Kind::Taken && asBefore == 0) {
            const bool known = std::ranges::all_of(after, [](const auto& seen) { return seen.has_value(); });
            passage.notices.push_back(known ? shown(order.branch) + " on " + shown(m_remote) +
                                                  " has moved on since: somebody else pushed, or the server changed it"
                                            : "What stands on " + shown(m_remote) + " now could not be read back");
            return State::Arrived;
        }
        if (answer.kind == Kind::Taken)
            passage.reason = "the remote said yes, but its branch stands as before";
        if (refused && after.size() == 1 && arrived == 0 && toldToHaveMoved(passage))
            return State::Untouched;
        // With one side a refusal that is seen to be true; with more, one of them may have gone along.
        if (m_nothingSent && asBefore == after.size())
            return State::Untouched;
        if (refused && arrived == 0 && (answer.kind == Kind::RefusedHere || asBefore == after.size()))
            return State::Untouched;
        return State::Unknown;
    }

    // Whether the other side told that its branch had moved when it came to it: it compares before it writes (git's
    // refs/files-backend.c; from memory).
    bool toldToHaveMoved(const Passage& passage) const
    {
        return std::ranges::any_of(m_notices, [&](const std::string& said) {
            return said.contains("cannot lock ref '" + passage.order->ref + "'") &&
                   said.contains("but expected " + passage.old.hex());
        });
    }

    void close(Passage& passage)
    {
        const PushOrder& order = *passage.order;
        if (passage.state == Passage::State::Untouched)
            forget(passage);
        if (passage.state != Passage::State::Arrived)
            return;
        followPush(passage);
        if (!order.takesBack.empty())
            if (auto taken = findEntry(m_repository, order.takesBack))
                (void)setEntryState(m_repository, *taken, EntryState::TakenBack);
        if (auto done = setEntryState(m_repository, passage.entry, EntryState::Done); done)
            passage.entry.state = EntryState::Done;
        else
            passage.notices.push_back("The push arrived, but the logbook cannot be written: " + done.error().line());
    }

    // The tracking ref follows what was pushed, as after a fetch; git does so whatever the push's address is.
    void followPush(Passage& passage)
    {
        const PushOrder& order = *passage.order;
        const std::string tracking = trackingRef(m_repository, m_remote, order.ref);
        const auto stands = tracking.empty() ? Result<Oid>(order.now) : readRef(raw(m_repository), tracking);
        if (!stands || *stands == order.now)
            return;
        const auto moved = moveRefs(m_repository, {{tracking, *stands, order.now}}, "espalier: update by push");
        if (!moved && moved.error().kind == ErrorKind::Refused)
            passage.notices.push_back("Pushed, but the tracking branch was not moved: " + moved.error().line());
        else if (moved && !moved->empty())
            passage.notices.push_back(*moved);
    }

    // The remote stood there already. A branch that is gone there takes its tracking ref along; where that had a tip that was
    // not pushed from here, the logbook keeps it.
    Result<void> followEarlier(Passage& passage)
    {
        const PushOrder& order = *passage.order;
        passage.notices.push_back(shown(order.branch) +
                                  (order.now.isZero() ? " is gone already on " : " stands there already on ") +
                                  shown(m_remote));
        if (!order.now.isZero()) {
            followPush(passage);
            return {};
        }
        const std::string tracking = trackingRef(m_repository, m_remote, order.ref);
        const auto stands = tracking.empty() ? Result<Oid>(Oid{}) : readRef(raw(m_repository), tracking);
        if (!stands || stands->isZero())
            return {};
        auto done = moveTracking(m_repository, "Forget " + order.branch + ", which is gone on " + m_remote,
                                 {{tracking, *stands, Oid{}}});
        if (!done)
            return std::unexpected(done.error());
        passage.entry = std::move(done->entry);
        return {};
    }

    Result<std::vector<Pushed>> result()
    {
        std::vector<Pushed> all;
        const bool whole = std::ranges::all_of(
            m_passages, [](const Passage& one) { return one.isThere || one.state == Passage::State::Arrived; });
        if (!whole)
            return std::unexpected(failure());
        for (Passage& passage : m_passages) {
            if (passage.isThere)
                if (auto followed = followEarlier(passage); !followed)
                    return std::unexpected(followed.error());
            const PushOrder& order = *passage.order;
            all.push_back({order.branch, passage.old, order.now, passage.forced, std::move(passage.entry),
                           std::move(passage.notices)});
        }
        all.front().notices.insert(all.front().notices.end(), m_notices.begin(), m_notices.end());
        // It arrived, whatever broke or was said afterwards.
        if (m_error)
            all.front().notices.push_back("All arrived, although it was said: " + m_error->line());
        return all;
    }

    Error failure() const
    {
        std::string names, reasons, arrived;
        bool unknown = false, refused = false;
        const auto add = [](std::string& to, const std::string& more) { to += (to.empty() ? "" : ", ") + more; };
        for (const Passage& passage : m_passages) {
            if (passage.isThere)
                continue;
            if (passage.state == Passage::State::Arrived) {
                add(arrived, shown(passage.order->branch));
                continue;
            }
            add(names, shown(passage.order->branch));
            unknown = unknown || passage.state == Passage::State::Unknown;
            refused = refused || passage.state == Passage::State::Untouched;
            // "atomic transaction failed" and its like tell of another branch's reason.
            if (!passage.reason.empty() && !reasons.contains(passage.reason))
                add(reasons, passage.reason);
        }
        Error error = m_error.value_or(Error{ErrorKind::Network, "The push failed", {}, {}});
        // Of a lock that is in the way, git's own many words say less than what stands there already.
        if (error.what.contains("a lock is in the way") && !unknown) {
            error.remedy += arrived.empty() ? "" : ". Pushed all the same: " + arrived;
            return error;
        }
        for (const std::string& said : m_notices)
            reasons += (reasons.empty() ? "" : " / ") + said;
        const std::string open = shown(m_remote) + " may have taken it already; fetch, and it shows";
        if (error.kind == ErrorKind::Cancelled)
            return cancelled(open).error();
        if (m_nothingSent && arrived.empty()) {
            error.remedy += (error.remedy.empty() ? "" : ". ") + std::string("Nothing was sent");
            return error;
        }
        if (!unknown || refused) {
            const bool moved =
                reasons.starts_with("stale info") || reasons.contains("fetch first") ||
                std::ranges::any_of(m_passages, [this](const Passage& passage) { return toldToHaveMoved(passage); });
            error.kind = ErrorKind::Refused;
            error.what = moved ? "The branch on " + shown(m_remote) + " moved since it was looked at"
                               : "The remote did not take the push" + (reasons.empty() ? "" : " [" + reasons + "]");
            error.on = names;
            error.remedy =
                moved ? "Look again at what would be overwritten" : "Do what it asks for, or ask the remote's owner";
        } else if (!reasons.empty() && !error.what.contains(reasons)) {
            error.what += " [" + reasons + "]";
        }
        if (unknown)
            error.remedy += (error.remedy.empty() ? "" : ". ") + open;
        if (!arrived.empty())
            error.remedy += ". Pushed all the same: " + arrived;
        return error;
    }

    // Until the remote is asked to move its branch, a stop leaves it as it was.
    Error untouched(Error error) const
    {
        if (error.kind == ErrorKind::Cancelled)
            return cancelled("Nothing was changed on " + shown(m_remote)).error();
        return error;
    }

    const Repository& m_repository;
    const std::string m_remote;
    const Access& m_access;
    const Progress& m_progress;
    std::unique_ptr<Transport> m_way;
    std::vector<Passage> m_passages;
    std::vector<std::string> m_refs, m_sides, m_notices;
    std::vector<Advertised> m_seen; // by side, before
    std::set<std::string> m_hollow; // branches that moved, and lead to what is not there
    std::optional<Error> m_error;
    bool m_nothingSent = false;
};

} // namespace

Result<std::vector<Pushed>> sendOrders(const Repository& repository, const std::string& remote,
                                       const std::vector<PushOrder>& orders, const Access& access,
                                       const Progress& progress)
{
    return Pusher(repository, remote, access, progress).send(orders);
}

} // namespace espalier

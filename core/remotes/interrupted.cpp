// SPDX-License-Identifier: MIT
#include "core/git/process_marks.h"
#include "core/keep/entry_file.h"
#include "core/keep/open_entries.h"
#include "core/keep/push_locks.h"
#include "core/keep/storage.h"
#include "core/remotes/fetching.h"

#include <chrono>

namespace espalier {

namespace {

enum class Fate { Arrived, Never, Open };

// As long as something of a push is at work, or nobody can tell, what stands there says nothing until it must be done.
constexpr std::int64_t patience = 10 * 60;
// A server that had the whole of a push goes on without the program that sent it: for so long an entry that was taken for
// undone is looked at again.
constexpr std::int64_t lateness = 24 * 60 * 60;

std::int64_t now()
{
    using namespace std::chrono;
    return duration_cast<seconds>(system_clock::now().time_since_epoch()).count();
}

Fate fateOf(const Repository& repository, const LogbookEntry& entry, const RefMove& move, const Oid& stands,
            bool isAtWork)
{
    if (stands == move.now)
        return Fate::Arrived;
    if (stands == move.old)
        return isAtWork && now() - entry.when <= patience ? Fate::Open : Fate::Never;
    if (!stands.isZero() && !hasCommit(repository, stands))
        return Fate::Open;
    // Somebody has gone on from what was pushed.
    if (!stands.isZero() && !move.now.isZero() && descendsFrom(repository, stands, move.now))
        return Fate::Arrived;
    // Or from what stood there before.
    if (!stands.isZero() && !move.old.isZero() && descendsFrom(repository, stands, move.old))
        return Fate::Never;
    // It was rewritten or deleted since. Both may be; with the state done the old tip can be had back from the logbook, behind a
    // look at what stands there then.
    return Fate::Arrived;
}

// What is open, and what was lately taken for undone and has had no push of the same branch after it.
std::vector<LogbookEntry> unsettled(const Repository& repository, const std::string& remote)
{
    const std::vector<std::string> open = openEntryIds(repository);
    std::vector<std::string> ids = entryIdsSince(repository, now() - lateness);
    // Those that are open still and older come first.
    std::erase_if(ids, [&](const std::string& id) { return std::ranges::contains(open, id); });
    ids.insert(ids.end(), open.begin(), open.end());
    std::ranges::sort(ids, isOlderEntry);
    std::vector<LogbookEntry> entries;
    for (const std::string& id : ids) {
        auto entry = findEntry(repository, id);
        if (!entry || entry->remote != remote)
            continue;
        const auto movesTheSame = [&](const LogbookEntry& before) {
            return before.state == EntryState::Undone && std::ranges::any_of(before.moves, [&](const RefMove& move) {
                       return std::ranges::contains(entry->moves, move.name, &RefMove::name);
                   });
        };
        std::erase_if(entries, movesTheSame);
        if (entry->state == EntryState::Undone || std::ranges::contains(open, id))
            entries.push_back(std::move(*entry));
    }
    std::erase_if(entries, [](const LogbookEntry& entry) {
        return entry.state != EntryState::Begun && entry.state != EntryState::Undone;
    });
    return entries;
}

// Whether somebody has gone on from a commit only the commits tell. Where they cannot be had, it stays open.
void bringUnknown(const Repository& repository, Transport& way, const std::vector<Advertised>& there)
{
    std::vector<WantedRef> unknown;
    for (const Advertised& seen : there)
        for (const auto& [name, id] : seen)
            if (!hasCommit(repository, id))
                unknown.push_back({name, id, {}, false, false});
    if (!unknown.empty())
        (void)way.get(unknown);
}

} // namespace

std::vector<std::string> settleInterrupted(const Repository& repository, const std::string& remote, Transport& way)
{
    if (unsettled(repository, remote).empty())
        return {};
    // Held by somebody who is pushing right now: then the entry is theirs to close.
    const auto lock = ChangeLock::take(repository);
    if (!lock)
        return {};
    const std::vector<LogbookEntry> open = unsettled(repository, remote);
    std::vector<std::string> refs;
    for (const LogbookEntry& entry : open)
        for (const RefMove& move : entry.moves)
            refs.push_back(move.name);
    const auto sides = open.empty() ? Result<std::vector<std::string>>() : way.pushAddresses();
    if (!sides)
        return {};
    std::vector<std::string> lines;
    for (const LogbookEntry& entry : open)
        // Of the others nobody knows any more when they began.
        if (entry.state == EntryState::Begun)
            removePushLocks(repository, entry, lines);
    std::vector<Advertised> there;
    for (std::size_t side = 0; side < sides->size(); ++side) {
        auto seen = way.lookWhereItPushes(side, refs);
        if (!seen)
            return lines;
        there.push_back(std::move(*seen));
    }
    bringUnknown(repository, way, there);
    const bool isAtWork = isPushAtWork(repository).value_or(true);
    for (const LogbookEntry& entry : open) {
        std::size_t arrived = 0, never = 0, looks = 0;
        for (const RefMove& move : entry.moves) {
            for (const Advertised& seen : there) {
                const auto at = seen.find(move.name);
                const Fate fate = fateOf(repository, entry, move, at == seen.end() ? Oid{} : at->second, isAtWork);
                arrived += fate == Fate::Arrived ? 1 : 0;
                never += fate == Fate::Never ? 1 : 0;
                ++looks;
            }
        }
        // Taken for undone before: only what stands there to the letter tells otherwise.
        if (entry.state == EntryState::Undone) {
            if (std::ranges::all_of(entry.moves, [&](const RefMove& move) {
                    return std::ranges::all_of(there, [&](const Advertised& seen) {
                        const auto at = seen.find(move.name);
                        return (at == seen.end() ? Oid{} : at->second) == move.now;
                    });
                }))
                (void)setEntryState(repository, entry, EntryState::Done);
            continue;
        }
        // Where it arrived at one of several places, it is one that can be taken back.
        if (arrived > 0 && arrived + never == looks)
            (void)setEntryState(repository, entry, EntryState::Done);
        else if (never == looks)
            (void)setEntryState(repository, entry, EntryState::Undone);
    }
    return lines;
}

} // namespace espalier

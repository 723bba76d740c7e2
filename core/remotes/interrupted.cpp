// SPDX-License-Identifier: MIT
#include "core/keep/open_entries.h"
#include "core/keep/storage.h"
#include "core/remotes/fetching.h"

#include <chrono>

namespace espalier {

namespace {

enum class Fate { Arrived, Never, Open };

// A server may still be at work on a push whose connection broke; what stands there says nothing until it must be done.
constexpr std::int64_t patience = 10 * 60;

std::int64_t now()
{
    using namespace std::chrono;
    return duration_cast<seconds>(system_clock::now().time_since_epoch()).count();
}

Fate fateOf(const Repository& repository, const LogbookEntry& entry, const RefMove& move, const Oid& stands)
{
    if (stands == move.now)
        return Fate::Arrived;
    const Fate otherwise = now() - entry.when > patience ? Fate::Never : Fate::Open;
    if (stands == move.old)
        return otherwise;
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

void settleInterrupted(const Repository& repository, const std::string& remote, Transport& way)
{
    std::vector<LogbookEntry> open;
    const auto collect = [&] {
        open.clear();
        for (const std::string& id : openEntryIds(repository)) {
            auto entry = findEntry(repository, id);
            if (entry && entry->state == EntryState::Begun && entry->remote == remote)
                open.push_back(std::move(*entry));
        }
    };
    collect();
    if (open.empty())
        return;
    // Held by somebody who is pushing right now: then the entry is theirs to close.
    const auto lock = ChangeLock::take(repository);
    if (!lock)
        return;
    collect();
    std::vector<std::string> refs;
    for (const LogbookEntry& entry : open)
        for (const RefMove& move : entry.moves)
            refs.push_back(move.name);
    const auto sides = open.empty() ? Result<std::vector<std::string>>() : way.pushAddresses();
    if (!sides)
        return;
    std::vector<Advertised> there;
    for (std::size_t side = 0; side < sides->size(); ++side) {
        auto seen = way.lookWhereItPushes(side, refs);
        if (!seen)
            return;
        there.push_back(std::move(*seen));
    }
    bringUnknown(repository, way, there);
    for (const LogbookEntry& entry : open) {
        std::size_t arrived = 0, never = 0, looks = 0;
        for (const RefMove& move : entry.moves) {
            for (const Advertised& seen : there) {
                const auto at = seen.find(move.name);
                const Fate fate = fateOf(repository, entry, move, at == seen.end() ? Oid{} : at->second);
                arrived += fate == Fate::Arrived ? 1 : 0;
                never += fate == Fate::Never ? 1 : 0;
                ++looks;
            }
        }
        // Where it arrived at one of several places, it is one that can be taken back.
        if (arrived > 0 && arrived + never == looks)
            (void)setEntryState(repository, entry, EntryState::Done);
        else if (never == looks)
            (void)setEntryState(repository, entry, EntryState::Undone);
    }
}

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The record of every change Espalier made to refs, here and on the fork, with the tips that stood before. Every old
// tip is kept from garbage collection by a ref `refs/espalier/kept/<entry>/<n>` until the user lets the entry go.
//
//     for (const LogbookEntry& entry : readLogbook(repository).value()) …   // newest first
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/refs/ref_move.h"

#include <cstdint>
#include <string>
#include <vector>

namespace espalier {

enum class EntryKind : std::uint8_t { Replay, Update, Push, Restore, Branch, CleanUp, Fetch };
std::string_view entryKindName(EntryKind kind); // "replay", "update", "push", "restore", "branch", "clean-up", "fetch"

enum class EntryState : std::uint8_t { Begun, Done, Undone, TakenBack };
std::string_view entryStateName(EntryState state); // "begun", "done", "undone", "taken back"

// The worktree that a change moved, for completing or undoing it after a crash, and for taking it back.
struct WorktreeMove {
    std::string gitDir;    // of that worktree; empty: no worktree was touched
    Oid from, to;          // commits; zero `from`: nothing had been committed yet
    std::string headAfter; // full ref or id that is checked out afterwards
    friend bool operator==(const WorktreeMove&, const WorktreeMove&) = default;
};

struct LogbookEntry {
    std::string id; // "20261125-104205-1": sorts by time; a valid ref name part
    EntryKind kind = EntryKind::Replay;
    EntryState state = EntryState::Begun;
    std::int64_t when = 0; // seconds since 1970
    std::string who;       // "Name <mail>" as git knows it, else the name of the account; empty in older entries
    std::string title;     // what was done, for people
    std::string remote;    // for a push or clean-up on a remote: its name; `moves` are then that remote's refs
    std::vector<RefMove> moves;
    std::vector<std::pair<Oid, Oid>> pairs; // old commit, new commit
    std::string headBefore;                 // full ref or id that was checked out
    WorktreeMove worktree;
    // branch.<name>.* of deleted and renamed branches as it was: full key, value without secrets.
    std::vector<std::pair<std::string, std::string>> branchConfig;
    std::vector<std::string> folders; // where a push went, as far as that is a folder of this machine
    std::string takesBack;            // for a restore: the id of the entry that it takes back
    bool restorable() const { return state == EntryState::Done && !moves.empty(); }
};

// Newest first, at most the newest ten thousand. Files that cannot be read are passed over with a line in `notices` when given.
Result<std::vector<LogbookEntry>> readLogbook(const Repository& repository,
                                              std::vector<std::string>* notices = nullptr);
// Errors: NotFound; Broken when its file is damaged.
Result<LogbookEntry> findEntry(const Repository& repository, const std::string& id);

// Writes the kept refs for every old tip, then the entry with state Begun, both durable. The id, time and person are filled
// in. Errors: Storage; nothing is left behind then.
Result<LogbookEntry> beginEntry(const Repository& repository, LogbookEntry entry);
// Any state but Begun closes the entry, unless `staysOpen`: then something still follows, see open_entries.h.
Result<void> setEntryState(const Repository& repository, const LogbookEntry& entry, EntryState state,
                           bool staysOpen = false);
// Takes back beginEntry() where nothing was moved. Errors: Storage; the next start does it then.
Result<void> abandonEntry(const Repository& repository, const std::string& id);
// Lets an entry go: removes it and its kept refs. Refused while it is open.
Result<void> forgetEntry(const Repository& repository, const std::string& id);
// Lets all go that are older than `before` (seconds since 1970) and not open; returns how many. One after the other: what
// is gone when it fails is gone.
Result<std::size_t> forgetOlder(const Repository& repository, std::int64_t before);

// The ref that keeps the old tip of an entry's n-th move.
std::string keptRef(const std::string& entry, std::size_t index);

} // namespace espalier

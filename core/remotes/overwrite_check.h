// SPDX-License-Identifier: MIT
//
// What a push would do to the fork's branch, before it does it.
//
//     Result<OverwriteCheck> check = overwriteCheck(repository, "topic/x", access, progress);
//     if (!check->foreign.empty()) … // somebody's commits would be lost
#pragma once

#include "core/history/versions.h"
#include "core/remotes/access.h"
#include "core/remotes/fetch.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

using CheckedCommit = CommitSummary;
struct OverwriteCheck {
    std::string branch;            // "topic/x"
    std::string remote, remoteRef; // "origin", "refs/heads/topic/x"
    Oid remoteTip;                 // as the remote advertised it now; zero: it has no such branch
    Oid localTip;
    bool fastForward = false; // a plain push does it (also for a new branch)
    bool upToDate = false;
    // Replaced by a new version, or landed upstream. `sameChange` is stricter than in VersionPair: nothing in the changed files
    // differs for a reviewer (whatDiffers()).
    std::vector<CommitPair> pairs;
    std::vector<CheckedCommit> added;   // only in the clone's version
    std::vector<CheckedCommit> removed; // the user's own, only in the fork's version
    std::vector<CheckedCommit> foreign; // not the user's and without a counterpart: lost if overwritten
    std::vector<CheckedCommit> kept;    // below them, of both versions: they stay as they are; the newest `mostKept`
    static constexpr std::size_t mostKept = 200;
    // The ids of all the commits above (the new one of a pair), as they stand in the branch, newest first: rowsOf() sorts by it.
    std::vector<Oid> order;
    // Where the upstream ends and the branch's own commits begin, in the clone's version; zero where that is not known.
    Oid newBase;
    std::vector<std::string> cautions; // lines for people, e.g. how to keep the foreign commits
};

// Fetches the remote's branch first, then compares. Changes nothing but objects and remote-tracking refs; with
// `fetchFirst` false not even those (the advertised tip must then be known already, else Refused).
Result<OverwriteCheck> overwriteCheck(const Repository& repository, const std::string& branch, bool fetchFirst,
                                      const Access& access = {}, const Progress& progress = {});

// A row of the check as a picture: what becomes of a commit.
enum class CheckState : std::uint8_t {
    Lost,     // somebody else's, on the fork only
    OnlyFork, // the user's own, on the fork only
    Edited,   // its change is another now
    Reworded, // message or author are others, the added and deleted lines are the same
    Around,   // the same lines among other ones, or in a file of another name: what is below was changed
    Same,     // the same change, only the id is new
    Landed,   // its counterpart is the upstream's
    New,      // on the fork for the first time
    Kept,     // of both versions
};
// "lost", "only-fork", "edited", "reworded", "around", "same", "landed", "new", "kept": the `state` of the JSON output.
std::string_view checkStateName(CheckState state);
CheckState stateOf(const CommitPair& pair);

struct CheckRow {
    CheckState state = CheckState::Same;
    std::optional<CheckedCommit> before, now; // the fork's and the clone's; one at least, the same for Kept
    bool byUser = true;                       // the user wrote the old one
    bool moved = false;                       // as in CommitPair
};
// All commits of the check in the order of the branch, newest first; of one that was put together by hand, without an order:
// the lost ones first. Empty when there is nothing to push.
std::vector<CheckRow> rowsOf(const OverwriteCheck& check);

} // namespace espalier

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
    std::vector<CommitPair> pairs;      // replaced by a new version, or landed upstream
    std::vector<CheckedCommit> added;   // only in the clone's version
    std::vector<CheckedCommit> removed; // the user's own, only in the fork's version
    std::vector<CheckedCommit> foreign; // not the user's and without a counterpart: lost if overwritten
    std::vector<std::string> cautions;  // lines for people, e.g. how to keep the foreign commits
};

// Fetches the remote's branch first, then compares. Changes nothing but objects and remote-tracking refs; with
// `fetchFirst` false not even those (the advertised tip must then be known already, else Refused).
Result<OverwriteCheck> overwriteCheck(const Repository& repository, const std::string& branch, bool fetchFirst,
                                      const Access& access = {}, const Progress& progress = {});

} // namespace espalier

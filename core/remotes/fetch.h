// SPDX-License-Identifier: MIT
//
// Fetching, cloning, and bringing the main line up to date.
#pragma once

#include "core/git/progress.h"
#include "core/history/places.h"
#include "core/keep/apply.h"
#include "core/remotes/access.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct FetchReport {
    std::string remote;
    std::vector<RefMove> moves;       // refs that changed; forced and pruned ones are among them
    std::vector<std::string> forced;  // names of those that did not fast-forward
    std::vector<std::string> gone;    // refs that the remote has no more and that stay, because pruning is off
    std::vector<std::string> notices; // what was asked for and not done, a line each
    std::string entry;                // of the logbook, for what was pruned or replaced; empty: there was none
    std::string line() const;         // "upstream: 1 branch moved, 2 new", and the notices
};

// Fetches a remote's branches and tags, and prunes, as its configuration says (git-fetch(1)), but writes and deletes nothing
// outside refs/remotes/ and refs/tags/, whatever the refspec says. What was pruned or replaced is an entry of the logbook.
// Refreshes refs/remotes/<remote>/HEAD. Errors: Network with the address (without secrets) and what to do; Cancelled.
Result<FetchReport> fetchRemote(const Repository& repository, const std::string& remote, const Access& access = {},
                                const Progress& progress = {});

// Clones into `folder` (created; must be empty or absent). A clone that fails leaves nothing behind.
Result<std::filesystem::path> cloneRepository(const std::string& url, const std::filesystem::path& folder,
                                              const Access& access = {}, const Progress& progress = {});

struct UpdateReport {
    std::vector<FetchReport> fetched;
    std::vector<RefMove> moves; // the clone's main line, when it moved
    bool pushedToFork = false;
    std::optional<Error> notPushed; // why the fork did not get the main line
    std::vector<std::string> lines; // what was done and what was not, for people
    // The main line has commits of its own: nothing was moved, `ownCommits` of them; the offer is moveToTopic().
    std::size_t ownCommits = 0;
};
// Fetches both, fast-forwards the clone's main line (checked out or not), pushes it to the fork.
Result<UpdateReport> bringUpToDate(const Repository& repository, const Access& access = {},
                                   const Progress& progress = {});

} // namespace espalier

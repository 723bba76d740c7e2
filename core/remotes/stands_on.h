// SPDX-License-Identifier: MIT
//
// What else in the clone has the commits that a push takes off the fork's branch: branches stacked on them, other remotes'
// branches, refs of pull requests. It goes on having the old ones after the push.
//
//     for (const StandsOn& other : whatStandsOn(*snapshot, *check))
//         standsOnWords(other); // "branch topic/y of the clone has the old tip and 2 commits above it"
#pragma once

#include "core/history/snapshot.h"
#include "core/remotes/overwrite_check.h"

#include <string>
#include <vector>

namespace espalier {

struct StandsOn {
    enum Kind : std::uint8_t { LocalBranch, RemoteBranch, PullRequest, Tag, Other } kind = LocalBranch;
    std::string ref;       // full name
    std::string name;      // "topic/y", "someone/topic/y", "12" of a pull request, "v2.3"; else as `ref`
    bool hasTip = false;   // the fork's old tip is on it
    std::size_t above = 0; // commits on it that stand on an old one and are none themselves
    std::size_t old = 0;   // of the commits that the push replaces or loses
    std::size_t lost = 0;  // those among them that have no counterpart: here they stay
    bool atTip() const { return hasTip && above == 0; }
};

// Sorted by kind and name; pull requests by number. Neither the branch itself, nor the remote-tracking ref of what is
// overwritten, nor refs/espalier/ are among them. Which refs are those of pull requests is told by their names
// (pullRequestOf()); a request is named once, by its head where that is here. Empty when the push replaces nothing, or when the
// snapshot has not got the old tip (it is older than the check).
std::vector<StandsOn> whatStandsOn(const Snapshot& snapshot, const OverwriteCheck& check);
// One of them in words that can be shown as they are.
std::string standsOnWords(const StandsOn& other);
// "local-branch", "remote-branch", "pull-request", "tag", "other": the `kind` of the JSON output.
std::string_view standsOnKindName(StandsOn::Kind kind);

} // namespace espalier

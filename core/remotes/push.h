// SPDX-License-Identifier: MIT
//
// Pushing with a lease: the remote is changed only while it stands where the user saw it.
#pragma once

#include "core/keep/logbook.h"
#include "core/remotes/access.h"
#include "core/remotes/overwrite_check.h"

#include <span>
#include <vector>

namespace espalier {

struct PushRequest {
    std::string branch; // of the clone, without refs/heads/
    std::string remote; // empty: branch.<name>.pushRemote, else the fork
    // The tip that the overwrite check showed (zero: "no such branch"). Needed for a forced update; without it only a
    // fast-forward is pushed.
    std::optional<Oid> expect;
};

struct Pushed {
    std::string branch;
    Oid old, now; // zero `old`: the branch is new there
    bool forced = false;
    LogbookEntry entry;               // no id: the branch stood there already
    std::vector<std::string> notices; // what the server said, made safe to show
};

// Where it goes is git's rule: remote.<name>.push, push.default, pushurl. The remote swaps only from `expect`; Refused when it moved,
// and the remote is untouched. The old tip is fetched and kept before it is overwritten, and what stands there afterwards is read
// back before anything is said. The pre-push hook is run as git would.
Result<Pushed> push(const Repository& repository, const PushRequest& request, const Access& access = {},
                    const Progress& progress = {});

// Several branches that go to one remote, in one push, each with its own lease: all or none where the server offers that, else one
// by one, which the first one's notices then say. An error names what arrived all the same. Errors: Usage when they go to
// different remotes.
Result<std::vector<Pushed>> pushAll(const Repository& repository, std::span<const PushRequest> requests,
                                    const Access& access = {}, const Progress& progress = {});

// Takes a push back: puts the remote's branch back to the entry's old tip, with a lease on what the push left there, or on
// `expect` where the user has seen that it moved since. What is overwritten is kept by the new entry.
Result<Pushed> restorePush(const Repository& repository, const std::string& entryId, const Access& access = {},
                           const Progress& progress = {}, const std::optional<Oid>& expect = {});

// Deletes a branch on a remote with a lease on `expect`; an entry of the logbook, restorable.
Result<Pushed> deleteRemoteBranch(const Repository& repository, const std::string& remote, const std::string& branch,
                                  const Oid& expect, const Access& access = {}, const Progress& progress = {});

} // namespace espalier

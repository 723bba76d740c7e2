// SPDX-License-Identifier: MIT
//
// A fetch that also tells what the remote advertised, and what the configuration says about a remote. Private to core/remotes.
#pragma once

#include "core/git/handles.h"
#include "core/keep/logbook.h"
#include "core/remotes/fetch.h"
#include "core/remotes/fetch_plan.h"
#include "core/remotes/transport.h"

namespace espalier {

struct Fetched {
    FetchReport report;
    Advertised heads; // as advertised, full names on the remote
};
// Over a way that is open already.
Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, Transport& way,
                             const Progress& progress);
Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress);

// remote.<name>.fetch. Errors: Usage for one that cannot be read.
Result<std::vector<Refspec>> fetchRefspecs(const Repository& repository, const std::string& remote);
// Every value of a setting, in git's order.
std::vector<std::string> configValues(const Repository& repository, const std::string& key);

// What the configuration says about fetching from the remote. Errors: Usage for a refspec that cannot be read.
Result<FetchSettings> fetchSettings(const Repository& repository, const std::string& remote);

// The remote-tracking ref of a remote's ref, by the configured refspecs; empty when there is none below refs/remotes/.
std::string trackingRef(const Repository& repository, const std::string& remote, const std::string& ref);

// Pushes of which a crash or a broken connection left open whether they arrived: settled by what the remote shows now, and
// rid of the locks that they left (see push_locks.h). A line for people about each lock.
std::vector<std::string> settleInterrupted(const Repository& repository, const std::string& remote, Transport& way);

// The commit is here and can be read.
bool hasCommit(const Repository& repository, const Oid& id);
// `above` is `below` or reaches it.
bool descendsFrom(const Repository& repository, const Oid& above, const Oid& below);
// The best common ancestor, one of them where there are several; zero when they have none.
Oid mergeBase(const Repository& repository, const Oid& a, const Oid& b);

} // namespace espalier

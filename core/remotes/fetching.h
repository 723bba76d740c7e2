// SPDX-License-Identifier: MIT
//
// A fetch that also tells what the remote advertised. Private to core/remotes.
#pragma once

#include "core/remotes/connection.h"
#include "core/remotes/fetch.h"
#include "core/remotes/fetch_plan.h"

#include <map>

namespace espalier {

struct Fetched {
    FetchReport report;
    std::map<std::string, Oid> heads; // as advertised, full names on the remote
};
Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress);

// What the configuration says about fetching from the remote. Errors: Usage for a refspec that cannot be read.
Result<FetchSettings> fetchSettings(const Repository& repository, git_remote* remote);

// The remote-tracking ref of a remote's ref, by the configured refspecs; empty when there is none below refs/remotes/.
std::string trackingRef(git_remote* remote, const std::string& ref);

} // namespace espalier

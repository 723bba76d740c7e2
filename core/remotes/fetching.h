// SPDX-License-Identifier: MIT
//
// A fetch that also tells what the remote advertised. Private to core/remotes.
#pragma once

#include "core/remotes/connection.h"
#include "core/remotes/fetch.h"

#include <map>

namespace espalier {

struct Fetched {
    FetchReport report;
    std::map<std::string, Oid> heads; // as advertised, full names on the remote
};
Result<Fetched> fetchAndLook(const Repository& repository, const std::string& remote, const Access& access,
                             const Progress& progress);

// The remote-tracking ref of a remote's ref, by the configured refspecs; empty when there is none.
std::string trackingRef(git_remote* remote, const std::string& ref);

} // namespace espalier

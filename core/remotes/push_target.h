// SPDX-License-Identifier: MIT
//
// The other side of a push: looked at once, then changed by compare-and-swap. A server does that itself; for a repository
// on this machine's disk, where libgit2 would overwrite without looking, it is done here. Private to core/remotes.
#pragma once

#include "core/remotes/connection.h"

#include <memory>

namespace espalier {

struct PushFailure {
    Error error;
    bool untouched = true; // the other side is known to stand as it did; else only a fetch can tell
};

class PushTarget {
  public:
    virtual ~PushTarget() = default;
    // The ref's value as the other side tells it now; zero: not there.
    virtual Result<Oid> advertised(const std::string& ref) = 0;
    // Sends what it needs and moves the ref from `old` to `now` (zero: deletes it). Refused when it is not at `old` any more or
    // the other side does not want it.
    virtual std::expected<void, PushFailure> update(const std::string& ref, const Oid& old, const Oid& now) = 0;
    // What the other side and its hooks said, safe to show.
    virtual std::vector<std::string> takeSaid() = 0;
};

Result<std::unique_ptr<PushTarget>> openTarget(const Repository& repository, Connection& connection,
                                               const Progress& progress);

// The path when an address is one of this machine's files; empty else.
std::filesystem::path localPathOf(const std::string& url);

std::unique_ptr<PushTarget> makeLocalTarget(const Repository& from, Repository to, const Progress& progress);

// Runs a receiving hook of a repository on disk when there is an executable one, in its git directory as git does. Returns
// what it said. Refused with what it said when it fails.
Result<std::string> runServerHook(const Repository& repository, const std::string& name,
                                  const std::vector<std::string>& arguments, const std::string& input,
                                  const Progress& progress);

} // namespace espalier

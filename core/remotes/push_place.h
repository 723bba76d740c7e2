// SPDX-License-Identifier: MIT
//
// Where a branch is pushed to: which remote and which ref there, by git's own rules (git-push(1), git-config(1)) for
// branch.<name>.pushRemote, remote.<name>.push and push.default. Private to core/remotes.
//
//     auto place = pushPlace(repository, "topic/x");   // origin, refs/heads/topic/x
#pragma once

#include "core/git/error.h"
#include "core/git/repository.h"
#include "core/remotes/transport.h"

#include <string>

namespace espalier {

struct PushPlace {
    std::string remote;
    std::string ref; // full name on the remote, below refs/heads/
};

// `remote` empty: branch.<name>.pushRemote, else the fork. Refused when there is none, when it is an address without a name,
// or when the settings lead to a ref that is no branch.
Result<PushPlace> pushPlace(const Repository& repository, const std::string& branch, const std::string& remote = {});

// A remote's branches where its pushes go: of several addresses all must stand at the same. With `bring` what is not here yet is
// brought. Errors: Refused when they do not stand at the same.
Result<Advertised> lookWherePushed(const Repository& repository, Transport& way, const std::vector<std::string>& refs,
                                   bool bring = true);

} // namespace espalier

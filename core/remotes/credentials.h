// SPDX-License-Identifier: MIT
//
// git's credential helpers, spoken to directly (gitcredentials(7), git-credential(1) for the form of the lines). Secrets
// pass through memory and the helper's pipes only. Private to core/remotes.
#pragma once

#include "core/git/repository.h"
#include "core/remotes/access.h"

#include <optional>
#include <string>

namespace espalier {

// The first answer of the configured helpers; nothing when none has one. `repository` may be null.
std::optional<Login> askHelpers(const Repository* repository, const std::string& url, const std::string& user);
// Tells the helpers that a login worked ("store") or did not ("erase").
void tellHelpers(const Repository* repository, const std::string& url, const Login& login, bool worked);

} // namespace espalier

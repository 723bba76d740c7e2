// SPDX-License-Identifier: MIT
//
// How the user proves who they are to a remote. Secrets live in memory only, never in a log, a message or the logbook.
#pragma once

#include "core/git/error.h"

#include <functional>
#include <optional>
#include <string>

namespace espalier {

struct Login {
    std::string user;
    std::string secret;
};

// What the remote functions ask for when git's own means (credential helpers, the ssh program with its agent and config)
// have no answer. Called on the working thread; a missing function means "no". Nothing is ever accepted in silence.
struct Access {
    std::function<std::optional<Login>(const std::string& url, const std::string& user)> askLogin;
    // The server's certificate or host key is not trusted by the system: `fingerprint` is for the user to compare.
    std::function<bool(const std::string& host, const std::string& fingerprint)> trustHost;
};

} // namespace espalier

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
    // The server's certificate is not trusted by the system: `fingerprint`, its SHA-256 sum, is for the user to compare. Asked
    // for every connection; whether an answer holds for longer is up to who answers. (Host keys are ssh's own affair.)
    std::function<bool(const std::string& host, const std::string& fingerprint)> trustHost;
};

} // namespace espalier

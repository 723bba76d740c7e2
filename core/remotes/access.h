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

// What the ssh program asks; `words` are its own, or the server's, not made safe to show.
struct SshQuestion {
    enum class Kind {
        HostKey, // the host is not known: "yes" when the fingerprint in `words` is the right one
        Secret,  // a passphrase, a password
        Consent, // may a key be used: any answer is a yes
        Notice,  // nothing is asked, the user has to do something (touch a key); goes to Progress, never to askSsh
    };
    Kind kind = Kind::Secret;
    std::string words;
};

// What the remote functions ask for when git's own means (credential helpers, the ssh program with its agent and config)
// have no answer. Called on the working thread; a missing function means "no". Nothing is ever accepted in silence.
struct Access {
    std::function<std::optional<Login>(const std::string& url, const std::string& user)> askLogin;
    // The server's certificate is not trusted by the system: `fingerprint`, its SHA-256 sum, is for the user to compare. Asked
    // for every connection; whether an answer holds for longer is up to who answers. (ssh asks for host keys itself.)
    std::function<bool(const std::string& host, const std::string& fingerprint)> trustHost;
    // What the ssh program asks, on a thread of its own; nothing for no. Missing: ssh asks on the terminal, as it does for git.
    std::function<std::optional<std::string>(const SshQuestion&)> askSsh = {};
    // The program that brings the questions of git and ssh here; its main() begins with carrySshQuestion(). Without it they ask
    // on the terminal, where there is one.
    std::string sshCarrier = {};
};

} // namespace espalier

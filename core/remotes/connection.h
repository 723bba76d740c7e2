// SPDX-License-Identifier: MIT
//
// A remote over libgit2's own transports, and all that libgit2 asks for while it talks to it: the way where no git is installed.
// Private to core/remotes.
//
//     Connection connection(&repository, access, progress);
//     connection.open(remote, GIT_DIRECTION_FETCH); … connection.error("The fetch failed")
#pragma once

#include "core/git/handles.h"
#include "core/git/progress.h"
#include "core/remotes/access.h"

#include <map>
#include <string>
#include <vector>

namespace espalier {

class Connection {
  public:
    Connection(const Repository* repository, const Access& access, const Progress& progress);
    Connection(const Connection&) = delete;

    // Looks the remote up. Errors: NotFound.
    Result<void> find(const std::string& name);
    git_remote* remote() const { return m_remote.get(); }
    std::string url(git_direction direction) const;
    Result<void> open(git_direction direction);
    // What the other side advertised; full name to id.
    Result<std::map<std::string, Oid>> heads() const;

    // The callbacks for an operation on `url`; the connection must outlive it.
    git_remote_callbacks callbacks(const std::string& url);
    // The last libgit2 error in words, with the address (without secrets), and what ssh or the server said.
    std::unexpected<Error> error(std::string what);
    std::vector<std::string> takeSaid();
    std::string rejected;                      // the server's reason for not updating a ref; empty when it did
    bool answered = false;                     // the server spoke about the ref
    std::optional<Error> veto;                 // set by negotiated() to stop a push
    std::pair<std::string, std::string> login; // name and password, where the address had them
    std::optional<Oid> expectedTip;            // what must be advertised for the ref to be pushed

  private:
    static int onCredentials(git_credential** out, const char* url, const char* user, unsigned allowed, void* self);
    static int onCertificate(git_cert* certificate, int valid, const char* host, void* self);
    const Repository* m_repository;
    const Access& m_access;
    const Progress& m_progress;
    Handle<git_remote> m_remote;
    std::string m_said, m_url, m_distrusted;
    int m_attempts = 0;
};

// Waits for connections and answers are bounded; done once, before the first connection.
void boundWaiting();

} // namespace espalier

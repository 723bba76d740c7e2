// SPDX-License-Identifier: MIT
//
// ssh for libgit2 by way of the user's own ssh program, so that OpenSSH's config, agent and known hosts are what counts and
// a host key is never accepted here. Honours GIT_SSH_COMMAND, core.sshCommand, GIT_SSH and ssh.variant. Private to
// core/remotes.
#pragma once

#include "core/git/handles.h"
#include "core/git/progress.h"
#include "core/remotes/access.h"

#include <git2/sys/transport.h>

#include <string>
#include <vector>

namespace espalier {

struct SshContext {
    const Repository* repository = nullptr; // null while cloning
    const Access* access = nullptr;
    const Progress* progress = nullptr;
    std::string errors;       // what the ssh program said
    bool hostRefused = false; // the user did not vouch for a host key that it asked about
};

bool isSshUrl(const std::string& url);
// A git_transport_cb; `context` is an SshContext that outlives the remote.
int makeSshTransport(git_transport** transport, git_remote* owner, SshContext& context);

// The command for a URL and a service ("git-upload-pack"). Errors: Usage for addresses that would be taken for options.
Result<std::vector<std::string>> sshCommand(const Repository* repository, const std::string& url,
                                            const std::string& service);

} // namespace espalier

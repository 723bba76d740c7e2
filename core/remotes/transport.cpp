// SPDX-License-Identifier: MIT
#include "core/remotes/transport.h"

#include "core/git/git_command.h"

namespace espalier {

Result<std::unique_ptr<Transport>> openTransport(const Repository& repository, const std::string& remote,
                                                 const Access& access, const Progress& progress)
{
    return hasGit() ? openGitTransport(repository, remote, access, progress)
                    : openLibgitTransport(repository, remote, access, progress);
}

Result<void> cloneInto(const std::string& url, const std::filesystem::path& folder, const Access& access,
                       const Progress& progress)
{
    return hasGit() ? cloneByGit(url, folder, access, progress) : cloneByLibgit(url, folder, access, progress);
}

} // namespace espalier

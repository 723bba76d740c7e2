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

std::filesystem::path folderOfAddress(const Repository& repository, const std::string& address)
{
    constexpr std::string_view file = "file://";
    if (address.starts_with(file))
        return address.substr(file.size());
    const std::size_t colon = address.find(':'), slash = address.find('/');
    if (address.empty() || address.contains("://") || (colon != std::string::npos && colon < slash))
        return {};
    const std::filesystem::path top = repository.workDir();
    return (top.empty() ? repository.gitDir() : top) / address;
}

Result<void> cloneInto(const std::string& url, const std::filesystem::path& folder, const Access& access,
                       const Progress& progress)
{
    return hasGit() ? cloneByGit(url, folder, access, progress) : cloneByLibgit(url, folder, access, progress);
}

} // namespace espalier

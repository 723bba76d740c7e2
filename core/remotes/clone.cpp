// SPDX-License-Identifier: MIT
#include "core/remotes/connection.h"
#include "core/remotes/fetch.h"

namespace espalier {

namespace fs = std::filesystem;

Result<fs::path> cloneRepository(const std::string& url, const fs::path& folder, const Access& access,
                                 const Progress& progress)
{
    std::error_code error;
    const bool existed = fs::exists(folder, error);
    if (existed && (!fs::is_directory(folder, error) || !fs::is_empty(folder, error)))
        return fail(ErrorKind::Refused, "The folder is not empty", folder.string(), "Choose a new one");
    if (auto trusted = trustAuthorities(nullptr, url); !trusted)
        return std::unexpected(trusted.error());
    Connection connection(nullptr, access, progress);
    git_clone_options options = GIT_CLONE_OPTIONS_INIT;
    options.fetch_opts.callbacks = connection.callbacks(url);
    options.fetch_opts.proxy_opts.type = GIT_PROXY_AUTO;
    options.checkout_opts.checkout_strategy = GIT_CHECKOUT_SAFE;
    Handle<git_repository> cloned;
    if (git_clone(out(cloned), url.c_str(), folder.c_str(), &options) == 0) {
        connection.accepted();
        return folder;
    }
    auto failure = connection.error("The clone failed");
    cloned.reset();
    // Nothing stays behind: the folder as it was, there and empty, or not there.
    if (!existed) {
        fs::remove_all(folder, error);
    } else {
        for (const auto& item : fs::directory_iterator(folder, error))
            fs::remove_all(item.path(), error);
    }
    return failure;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/config_path.h"

#include "core/git/handles.h"

namespace espalier {

std::optional<std::filesystem::path> configPath(const Repository& repository, const std::string& key)
{
    Handle<git_config> config;
    Buffer path;
    if (git_repository_config(out(config), raw(repository)) < 0 ||
        git_config_get_path(&path, config.get(), key.c_str()) < 0 || path.size == 0)
        return std::nullopt;
    return std::filesystem::path(path.str());
}

} // namespace espalier

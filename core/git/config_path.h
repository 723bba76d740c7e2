// SPDX-License-Identifier: MIT
//
// A path out of the configuration, with "~/" as the user's home, as git reads such values (git-config(1), "pathname").
//
//     configPath(repository, "core.hooksPath").value_or(repository.commonDir() / "hooks")
#pragma once

#include "core/git/repository.h"

namespace espalier {

// Nothing when it is not set or empty. May be relative: to what, the key says.
std::optional<std::filesystem::path> configPath(const Repository& repository, const std::string& key);

} // namespace espalier

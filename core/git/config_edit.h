// SPDX-License-Identifier: MIT
//
// Changes to the repository's own config file, all or none: under a lock that is never left behind for good (lock_files.h).
// Private to core.
//
//     auto done = editConfig(repository, [](git_config* config) { … git_config_delete_multivar(config, …) … });
#pragma once

#include "core/git/handles.h"

#include <functional>

namespace espalier {

// `edit` gets a copy that is then put in the file's place; an error from it leaves the file as it was. Errors: Storage; Refused
// when another program has the config locked.
Result<void> editConfig(const Repository& repository, const std::function<Result<void>(git_config*)>& edit);

} // namespace espalier

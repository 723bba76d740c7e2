// SPDX-License-Identifier: MIT
//
// What the logbook's kept tips cost: the bytes on disk of all that only they lead to, and that a gc would otherwise remove.
//
//     if (const auto bytes = keptSpace(repository)) …
#pragma once

#include "core/git/repository.h"

#include <cstdint>

namespace espalier {

// Asks git, which walks the kept history and the rest of the repository. Errors: as run(); Broken with git's last words.
Result<std::uint64_t> keptSpace(const Repository& repository);

} // namespace espalier

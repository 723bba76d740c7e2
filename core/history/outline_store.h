// SPDX-License-Identifier: MIT
//
// Outlines of commits (see outlines.h) kept between runs in commonDir()/espalier/outlines: reading what 60,000 commits of a main
// line change takes seconds, and never changes. Only saves time, and may be deleted whenever one likes. Private to core/history.
//
// The file is a line with a version, a probe of the hash that outlines are made with and the SHA-1 of the rest; then 20 bytes of id and 8 of outline each. What is damaged, of another version or of another machine's hash is as if it were not
// there.
#pragma once

#include "core/git/repository.h"

#include <cstdint>
#include <span>
#include <vector>

namespace espalier {

struct KeptOutline {
    Oid commit;
    std::uint64_t outline = 0;
};

// Nothing where nothing is kept, or where parents differ from what the commits say (see Overrides).
std::vector<KeptOutline> readOutlines(const Repository& repository);
// Replaces what is kept; of more than 400,000 only so many. Does nothing where parents differ. Errors: Storage.
Result<void> keepOutlines(const Repository& repository, std::span<const KeptOutline> outlines);

} // namespace espalier

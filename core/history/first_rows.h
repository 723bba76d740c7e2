// SPDX-License-Identifier: MIT
//
// The newest rows of a history that has not been read yet: a walk from the tips, newest first, that stops when there are
// enough. Private to core/history.
#pragma once

#include "core/history/history.h"

#include <functional>

namespace espalier {

struct KnownCommit {
    std::int64_t time = 0;
    std::vector<Oid> parents;
};

// The first rows of the display order, as long as no commit is older than its parents; a parent that lies further down is
// left out. Empty when the tips reach fewer than `most` commits. `lookUp` gives nothing for what is no commit.
History newestRows(std::span<const Oid> tips, std::size_t most,
                   const std::function<std::optional<KnownCommit>(const Oid&)>& lookUp);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a commit reaches, as a bit a row of the table: for those who ask about many rows at once. Of a single one
// History::isAncestor() tells sooner.
//
//     const std::vector<bool> landed = reachedFrom(history, mainLine);
#pragma once

#include "core/history/history.h"

#include <vector>

namespace espalier {

// With the row itself; no bit is set for a row that does not exist. Goes once through the table.
inline std::vector<bool> reachedFrom(const History& history, Row tip)
{
    std::vector<bool> reached(history.size(), false);
    if (tip >= history.size())
        return reached;
    reached[tip] = true;
    // Parents are further down.
    for (Row row = tip; row < history.size(); ++row)
        if (reached[row])
            for (const Row parent : history.parents(row))
                reached[parent] = true;
    return reached;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/branch_names.h"

#include "core/refs/ref_name.h"

#include <algorithm>

namespace espalier {

BranchNameVerdict judgeBranchName(const Snapshot& snapshot, const std::string& name)
{
    if (!isBranchName(name))
        return {BranchNameVerdict::Malformed, {}};
    const std::string full = branchRef(name);
    for (const Ref& ref : snapshot.refs) {
        if (ref.name == full)
            return {BranchNameVerdict::Taken, {}};
        if (standInEachOthersWay(ref.name, full))
            return {BranchNameVerdict::Nested, ref.shortName};
    }
    return {};
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/branch_names.h"

#include "core/git/handles.h"

#include <algorithm>

namespace espalier {

bool isBranchName(const std::string& name)
{
    int valid = 0;
    // git takes @ for HEAD, and a name is bytes up to the first zero to libgit2.
    return name != "@" && !name.contains('\0') && git_branch_name_is_valid(&valid, name.c_str()) == 0 && valid == 1;
}

BranchNameVerdict judgeBranchName(const Snapshot& snapshot, const std::string& name)
{
    if (!isBranchName(name))
        return {BranchNameVerdict::Malformed, {}};
    const std::string full = "refs/heads/" + name;
    for (const Ref& ref : snapshot.refs) {
        if (ref.name == full)
            return {BranchNameVerdict::Taken, {}};
        if (ref.name.starts_with(full + "/") || full.starts_with(ref.name + "/"))
            return {BranchNameVerdict::Nested, ref.shortName};
    }
    return {};
}

} // namespace espalier

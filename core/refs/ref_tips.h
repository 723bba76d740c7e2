// SPDX-License-Identifier: MIT
//
// Where refs stand, whatever kind they are.
//
//     auto tips = commitsOfRefs(repository, [](std::string_view name) { return name != "refs/heads/mine"; });
#pragma once

#include "core/git/oid.h"
#include "core/git/repository.h"

#include <functional>
#include <string_view>
#include <vector>

namespace espalier {

// The commits that the refs lead to of which `counts` says yes; all where it is empty. What leads to no commit that is here is left
// out. Errors: Broken when the refs cannot be read.
Result<std::vector<Oid>> commitsOfRefs(const Repository& repository,
                                       const std::function<bool(std::string_view name)>& counts = {});

} // namespace espalier

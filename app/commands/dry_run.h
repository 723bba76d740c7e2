// SPDX-License-Identifier: MIT
//
// What the commands dry-run and replay have in common. Private to app/commands.
//
//     const auto plan = planFrom(repository, arguments, true);
//     printRun(run);
#pragma once

#include "app/commands/command.h"
#include "core/replay/dry_run.h"

namespace espalier {

// What `--branch B --onto N` means: a branch of the clone, else, unless `needsBranch`, any name that stands for a commit. Errors:
// Usage (an option is missing), NotFound, those of planBranch.
Result<Plan> planFrom(const Repository& repository, const Arguments& arguments, bool needsBranch);

// Its commits, for people.
void printRun(const DryRun& run);

} // namespace espalier

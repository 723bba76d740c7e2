// SPDX-License-Identifier: MIT
//
// A plan and a dry run of a test's own repository, in a line each; the test fails when there is none.
//
//     const DryRun run = runOf(opened, planOf(opened, "topic", main));
#pragma once

#include "core/replay/dry_run.h"

#include <string>

namespace espalier::test {

// Who commits in these plans, and when.
extern const Person dryRunCommitter;

// The branch refs/heads/`branch` onto the commit `onto`, which is called main.
Plan planOf(const Repository& repository, const std::string& branch, const std::string& onto, PlanOptions options = {});
DryRun runOf(const Repository& repository, const Plan& plan, const Settlements& settlements = {});

} // namespace espalier::test

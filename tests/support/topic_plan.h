// SPDX-License-Identifier: MIT
//
// The plan of a topic branch onto the clone's own main, by a fixed committer, for tests of pages.
//
//     const Result<Plan> plan = test::planOntoMain(repository, *session.snapshot(), "refs/heads/topic/x");
#pragma once

#include "core/replay/plan.h"

namespace espalier::test {

// Errors: planBranch's. The snapshot has a branch main.
Result<Plan> planOntoMain(const Repository& repository, const Snapshot& snapshot, const std::string& topic);

} // namespace espalier::test

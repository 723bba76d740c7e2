// SPDX-License-Identifier: MIT
#include "tests/support/topic_plan.h"

namespace espalier::test {

Result<Plan> planOntoMain(const Repository& repository, const Snapshot& snapshot, const std::string& topic)
{
    PlanOptions options;
    options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
    return planBranch(repository, snapshot, topic, snapshot.findRef("refs/heads/main")->tip, "main", options);
}

} // namespace espalier::test

// SPDX-License-Identifier: MIT
#include "tests/support/dry_runs.h"

#include "core/history/snapshot.h"

#include <QtTest>

namespace espalier::test {

const Person dryRunCommitter{"Ada Quill", "ada@example.org", 1700000500, 60};

Plan planOf(const Repository& repository, const std::string& branch, const std::string& onto, PlanOptions options)
{
    options.committer = dryRunCommitter;
    auto plan =
        planBranch(repository, **takeSnapshot(repository), "refs/heads/" + branch, *Oid::parse(onto), "main", options);
    if (!plan)
        qFatal("%s", plan.error().line().c_str());
    return *plan;
}

DryRun runOf(const Repository& repository, const Plan& plan, const Settlements& settlements)
{
    auto run = dryRun(repository, plan, settlements);
    if (!run)
        qFatal("%s", run.error().line().c_str());
    return *run;
}

} // namespace espalier::test

// SPDX-License-Identifier: MIT
#include "app/commands/dry_run.h"
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/text.h"
#include "core/refs/ref_name.h"
#include "core/replay/batch.h"
#include "core/replay/commit_table.h"
#include "core/replay/json.h"

#include <charconv>
#include <ctime>
#include <iostream>
#include <sstream>

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace espalier {

namespace {

// Whom a dry run of a bare tip names; it is never written, so a missing identity is no reason to refuse.
Result<Person> committerOf(const Repository& repository)
{
    if (!committerIdentity(repository))
        return Person{"nobody", "nobody@invalid", std::time(nullptr), 0};
    return committerNow(repository);
}

// Texts and trees come and go by the thousand. Given back to the system each time they would be fetched from it again.
void keepFreedMemory()
{
#ifdef __GLIBC__
    mallopt(M_MMAP_THRESHOLD, 32 << 20);
    mallopt(M_TRIM_THRESHOLD, 64 << 20);
    mallopt(M_TOP_PAD, 4 << 20);
#endif
}

Result<ExitStatus> runBatchLines(const Repository& repository, const Arguments& arguments)
{
    keepFreedMemory();
    unsigned threads = usualThreads();
    if (const auto given = arguments.value("threads")) {
        const char* const end = given->data() + given->size();
        const auto read = std::from_chars(given->data(), end, threads);
        if (read.ec != std::errc{} || read.ptr != end || threads < 1 || threads > 256)
            return fail(ErrorKind::Usage, "--threads takes a number from 1 to 256", *given);
    }
    bool allClean = true;
    const auto next = []() -> std::optional<BatchLine> {
        for (std::string line; std::getline(std::cin, line);) {
            BatchLine pair;
            if (std::istringstream(line) >> pair.tip >> pair.onto || !pair.tip.empty())
                return pair;
        }
        return std::nullopt;
    };
    const auto answer = [&allClean](const BatchAnswer& given) {
        allClean &= given.run && given.run->clean;
        const std::string line = batchJson(given) + '\n';
        std::fwrite(line.data(), 1, line.size(), stdout);
        std::fflush(stdout); // whoever reads it may have its next line wait for this one
    };
    if (auto done = runBatch(repository, threads, next, answer); !done)
        return std::unexpected(done.error());
    return allClean ? exitDone : exitNo;
}

} // namespace

void printRun(const DryRun& run)
{
    for (std::size_t i = 0; i < run.commits.size(); ++i) {
        const ReplayedCommit& commit = run.commits[i];
        std::string line = std::to_string(i + 1) + ". " + std::string(outcomeName(commit.outcome)) + "  " +
                           commit.id.brief() + " " + commit.subject;
        if (commit.landedAs)
            line += "  (landed as " + commit.landedAs->brief() + ")";
        for (const std::size_t other : commit.dependsOn)
            line += "  (depends on " + std::to_string(other + 1) + ")";
        printLine(line);
        for (const Conflict& conflict : commit.conflicts)
            if (conflict.undecided > 0)
                printLine("       " + conflict.path.path + ": " + counted(conflict.undecided, "hunk", "hunks") +
                          " to decide");
        if (commit.losesSignature)
            printLine("       its signature will be lost");
    }
    for (const std::string& line : run.notAsGitLines())
        printLine("Not as git: " + line + (line.contains("driver") ? " (--run-drivers runs it)." : "."));
    for (const auto& [branch, tip] : run.stackedTips)
        printLine("Its branch " + shortBranchName(branch) + " moves along, to " + tip.brief() + ".");
    if (run.newTip)
        printLine("Clean. The new tip would be " + run.newTip->hex() + ".");
    else
        printLine(counted(run.undecided(), "hunk", "hunks") + " to settle. Nothing was changed.");
}

Result<Plan> planFrom(const Repository& repository, const Arguments& arguments, bool needsBranch)
{
    const auto branch = arguments.required("branch");
    if (!branch)
        return std::unexpected(branch.error());
    const auto ontoName = arguments.required("onto");
    if (!ontoName)
        return std::unexpected(ontoName.error());
    const auto onto = repository.resolve(*ontoName);
    if (!onto)
        return std::unexpected(onto.error());
    const auto snapshot = takeSnapshot(repository);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    const std::string full = branch->starts_with("refs/") ? *branch : branchRef(*branch);
    if ((*snapshot)->findRef(full) || needsBranch)
        return planBranch(repository, **snapshot, full, *onto, *ontoName);
    const auto tip = repository.resolve(*branch);
    if (!tip)
        return std::unexpected(tip.error());
    const auto committer = committerOf(repository);
    if (!committer)
        return std::unexpected(committer.error());
    ObjectStore store(repository);
    CommitTable table(repository);
    auto plan = planTip(store, table, *tip, *onto, *committer);
    if (plan) {
        plan->label = *branch;
        plan->ontoLabel = *ontoName;
    }
    return plan;
}

Result<ExitStatus> runDryRun(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    if (arguments.has("batch"))
        return runBatchLines(*repository, arguments);
    auto plan = planFrom(*repository, arguments, false);
    if (!plan)
        return std::unexpected(plan.error());
    plan->runDrivers = arguments.has("run-drivers");
    const Interrupt interrupt;
    const auto run = dryRun(*repository, *plan, {}, interrupt.progress());
    if (!run)
        return std::unexpected(run.error());
    if (arguments.has("json"))
        std::puts(dryRunJson(*run).c_str());
    else
        printRun(*run);
    return run->clean ? exitDone : exitNo;
}

} // namespace espalier

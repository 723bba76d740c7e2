// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/refs/ref_name.h"
#include "core/replay/batch.h"
#include "core/replay/commit_table.h"
#include "core/replay/json.h"
#include "core/replay/rewrite.h"

#include <charconv>
#include <ctime>
#include <iostream>
#include <sstream>

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace espalier {

namespace {

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

// Whom a dry run of a bare tip names; it is never written, so a missing identity is no reason to refuse.
Result<Person> committerOf(const Repository& repository)
{
    if (!committerIdentity(repository))
        return Person{"nobody", "nobody@invalid", std::time(nullptr), 0};
    return committerNow(repository);
}

// What `--branch B --onto N` means: a branch of the clone, else any name that stands for a commit.
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
    unsigned threads = 1;
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
    };
    if (auto done = runBatch(repository, threads, next, answer); !done)
        return std::unexpected(done.error());
    std::fflush(stdout);
    return allClean ? exitDone : exitNo;
}

} // namespace

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

Result<ExitStatus> runReplay(const Arguments& arguments)
{
    Settlements settlements;
    if (const auto how = arguments.value("settle")) {
        const auto choice = choiceFromName(*how);
        if (!choice || *choice == Choice::Undecided || *choice == Choice::Typed)
            return fail(ErrorKind::Usage, "--settle knows no such decision", *how,
                        "Use new-base, your-commit, new-base-first or your-commit-first");
        settlements = settlements.withDefault(*choice);
    }
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    auto plan = planFrom(*repository, arguments, true);
    if (!plan)
        return std::unexpected(plan.error());
    plan->runDrivers = arguments.has("run-drivers");
    const Interrupt interrupt;
    const auto run = dryRun(*repository, *plan, settlements, interrupt.progress());
    if (!run)
        return std::unexpected(run.error());
    std::string entry;
    std::vector<std::string> notices;
    // What is written is what git would write, or what the user has asked for.
    if (const auto lines = run->notAsGitLines(); run->clean && !lines.empty() && !arguments.has("by-lines"))
        return fail(ErrorKind::Refused, "Nothing was changed, since git would merge another way", lines.front(),
                    "--run-drivers runs the merge drivers of your configuration; --by-lines takes it as it is");
    if (run->clean) {
        const auto rewrite = makeRewrite(*run);
        if (!rewrite)
            return std::unexpected(rewrite.error());
        const auto applied = apply(*repository, *rewrite, interrupt.progress());
        if (!applied)
            return std::unexpected(applied.error());
        entry = applied->entry.id;
        notices = applied->notices;
    }
    if (arguments.has("json")) {
        std::puts(dryRunJson(*run, entry).c_str());
    } else {
        printRun(*run);
        if (!entry.empty())
            printLine("Applied. The old tip is kept; to take it back: espalier restore PATH " + entry);
    }
    printNotices(notices);
    return run->clean ? exitDone : exitNo;
}

} // namespace espalier

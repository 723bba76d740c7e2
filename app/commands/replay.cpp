// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/dry_run.h"
#include "app/commands/interrupt.h"
#include "core/conflicts/git_resolutions.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/propose/take_offers.h"
#include "core/replay/json.h"
#include "core/replay/rewrite.h"

#include <ctime>
#include <map>

namespace espalier {

namespace {

// A run, what it was settled with, and of that what was offered and taken.
struct Settled {
    std::shared_ptr<const DryRun> run;
    Settlements settlements;
    std::vector<TakenHunk> taken;
};

Result<Settled> settledRun(const Repository& repository, const Plan& plan, const std::optional<std::string>& how,
                           const Progress& progress)
{
    if (how == "proposed")
        return takeOffers(repository, plan, progress).transform([](TakenOffers taken) {
            return Settled{taken.run, std::move(taken.settlements), std::move(taken.hunks)};
        });
    Settlements settlements;
    if (how)
        settlements = settlements.withDefault(*choiceFromName(*how));
    return dryRun(repository, plan, settlements, progress).transform([&](DryRun run) {
        return Settled{std::make_shared<const DryRun>(std::move(run)), settlements, {}};
    });
}

// By path, over all commits.
std::map<std::string, std::size_t> leftIn(const DryRun& run)
{
    std::map<std::string, std::size_t> left;
    for (const ReplayedCommit& commit : run.commits)
        for (const Conflict& conflict : commit.conflicts)
            if (conflict.undecided > 0)
                left[conflict.path.path] += conflict.undecided;
    return left;
}

std::string leftLine(const std::map<std::string, std::size_t>& left)
{
    std::size_t hunks = 0;
    std::string files;
    for (const auto& [path, count] : left) {
        hunks += count;
        files += (files.empty() ? "" : ", ") + displayText(path, 200) + " (" + std::to_string(count) + ")";
    }
    return "Nothing was changed: neither memory nor proposals answer " + counted(hunks, "hunk", "hunks") + " of " +
           counted(left.size(), "file", "files") + ": " + files +
           ". Settle them in the window, or give --settle another HOW";
}

std::string dayOf(std::int64_t when)
{
    char text[32] = {};
    const std::time_t time = when;
    std::tm parts{};
    if (when <= 0 || !localtime_r(&time, &parts) || std::strftime(text, sizeof text, "%Y-%m-%d", &parts) == 0)
        return {};
    return " (" + std::string(text) + ")";
}

void printTaken(const std::vector<TakenHunk>& taken)
{
    for (const TakenHunk& one : taken)
        printLine("Taken for " + one.path + ", hunk " + std::to_string(one.hunk + 1) + " of " + one.commit.brief() +
                  ": " + one.offer.reason + dayOf(one.offer.when) + ".");
}

std::string withTaken(std::string run, const Settled& settled)
{
    nlohmann::json taken = nlohmann::json::array(), left = nlohmann::json::array();
    for (const TakenHunk& one : settled.taken)
        taken.push_back({{"commit", jsonId(one.commit)},
                         {"path", jsonText(one.path)},
                         {"hunk", one.hunk + 1},
                         {"from", sourceName(one.offer.source)},
                         {"reason", jsonText(one.offer.reason)}});
    for (const auto& [path, hunks] : leftIn(*settled.run))
        left.push_back({{"path", jsonText(path)}, {"hunks", hunks}});
    run.pop_back(); // the object's bracket
    return run + ",\"taken\":" + taken.dump() + ",\"left\":" + left.dump() + "}";
}

} // namespace

Result<ExitStatus> runReplay(const Arguments& arguments)
{
    const std::optional<std::string> how = arguments.value("settle");
    const bool proposed = how == "proposed";
    if (how && !proposed) {
        const auto choice = choiceFromName(*how);
        if (!choice || *choice == Choice::Undecided || *choice == Choice::Typed)
            return fail(ErrorKind::Usage, "--settle knows no such decision", *how,
                        "Use new-base, your-commit, new-base-first, your-commit-first or proposed");
    }
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    auto plan = planFrom(*repository, arguments, true);
    if (!plan)
        return std::unexpected(plan.error());
    plan->runDrivers = arguments.has("run-drivers");
    const Interrupt interrupt;
    const auto settled = settledRun(*repository, *plan, how, interrupt.progress());
    if (!settled)
        return std::unexpected(settled.error());
    const DryRun& run = *settled->run;
    std::string entry;
    std::vector<std::string> notices;
    // What is written is what git would write, or what the user has asked for.
    if (const auto lines = run.notAsGitLines(); run.clean && !lines.empty() && !arguments.has("by-lines"))
        return fail(ErrorKind::Refused, "Nothing was changed, since git would merge another way", lines.front(),
                    "--run-drivers runs the merge drivers of your configuration; --by-lines takes it as it is");
    if (run.clean) {
        const auto rewrite = makeRewrite(run);
        if (!rewrite)
            return std::unexpected(rewrite.error());
        const auto applied = apply(*repository, *rewrite, interrupt.progress());
        if (!applied)
            return std::unexpected(applied.error());
        entry = applied->entry.id;
        notices = applied->notices;
        // The replay is done whatever becomes of this.
        if (const auto recorded = recordResolutions(*repository, run, settled->settlements); !recorded)
            notices.push_back(recorded.error().line());
    }
    if (arguments.has("json")) {
        const std::string json = dryRunJson(run, entry);
        std::puts((proposed ? withTaken(json, *settled) : json).c_str());
    } else {
        printTaken(settled->taken);
        printRun(run);
        if (!entry.empty())
            printLine("Applied. The old tip is kept; to take it back: espalier restore PATH " + entry);
    }
    if (proposed && !run.clean)
        notices.push_back(leftLine(leftIn(run)));
    printNotices(notices);
    return run.clean ? exitDone : exitNo;
}

} // namespace espalier

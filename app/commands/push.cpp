// SPDX-License-Identifier: MIT
#include "core/remotes/push.h"
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/text.h"
#include "core/remotes/overwrite_check.h"

namespace espalier {

namespace {

nlohmann::json jsonCommits(const std::vector<CheckedCommit>& commits)
{
    nlohmann::json ids = nlohmann::json::array();
    for (const CheckedCommit& commit : commits)
        ids.push_back(jsonId(commit.id));
    return ids;
}

nlohmann::json jsonCheck(const OverwriteCheck& check)
{
    nlohmann::json pairs = nlohmann::json::array();
    for (const CommitPair& pair : check.pairs)
        pairs.push_back({{"old", jsonId(pair.old.id)}, {"new", jsonId(pair.now.id)}});
    return {{"branch", jsonText(check.branch)},
            {"remoteTip", jsonId(check.remoteTip)},
            {"localTip", jsonId(check.localTip)},
            {"fastForward", check.fastForward},
            {"pairs", pairs},
            {"added", jsonCommits(check.added)},
            {"removed", jsonCommits(check.removed)},
            {"foreign", jsonCommits(check.foreign)}};
}

void printCommits(const std::string& title, const std::vector<CheckedCommit>& commits)
{
    if (commits.empty())
        return;
    printLine(title);
    for (const CheckedCommit& commit : commits)
        printLine("    " + commit.id.brief() + " " + commit.subject + " (" + commit.author + ")");
}

void printCheck(const OverwriteCheck& check)
{
    const std::size_t replaced = check.pairs.size() + check.removed.size() + check.foreign.size();
    if (check.upToDate)
        printLine("The fork already has " + check.branch + " as it is here.");
    else if (check.fastForward)
        printLine("A plain push does it: nothing on the fork is replaced.");
    else
        printLine("A forced update would replace " + counted(replaced, "commit", "commits") + " on the fork.");
    printCommits("OF OTHERS, WITHOUT A COUNTERPART, lost if overwritten:", check.foreign);
    if (!check.pairs.empty())
        printLine("Replaced by a new version:");
    for (const CommitPair& pair : check.pairs)
        printLine("    " + pair.old.id.brief() + " by " + pair.now.id.brief() + " " + pair.now.subject +
                  (pair.sameChange ? "" : " (changed)") + (pair.byUser ? "" : " (" + pair.old.author + ")"));
    printCommits("Yours, only on the fork:", check.removed);
    printCommits("Added:", check.added);
    for (const std::string& caution : check.cautions)
        printLine(caution);
    if (!check.upToDate && !check.fastForward)
        printLine("To go on: espalier push PATH --branch " + check.branch + " --expect " + check.remoteTip.hex());
}

} // namespace

Result<ExitStatus> runOverwriteCheck(const Arguments& arguments)
{
    const auto branch = arguments.required("branch");
    if (!branch)
        return std::unexpected(branch.error());
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    const auto check = overwriteCheck(*repository, *branch, true, terminalAccess(), interrupt.progress());
    if (!check)
        return std::unexpected(check.error());
    if (arguments.has("json"))
        printJson(jsonCheck(*check));
    else
        printCheck(*check);
    return check->foreign.empty() ? exitDone : exitNo;
}

Result<ExitStatus> runPush(const Arguments& arguments)
{
    const auto branch = arguments.required("branch");
    if (!branch)
        return std::unexpected(branch.error());
    PushRequest request;
    request.branch = *branch;
    if (const auto expected = arguments.value("expect")) {
        request.expect = Oid::parse(*expected);
        if (!request.expect)
            return fail(ErrorKind::Usage, "--expect takes a full id of forty digits", *expected,
                        "Copy it from espalier overwrite-check");
    }
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    const auto pushed = push(*repository, request, terminalAccess(), interrupt.progress());
    if (!pushed)
        return std::unexpected(pushed.error());
    if (arguments.has("json"))
        printJson({{"branch", jsonText(pushed->branch)},
                   {"old", jsonId(pushed->old)},
                   {"new", jsonId(pushed->now)},
                   {"forced", pushed->forced},
                   {"entry", pushed->entry.id.empty() ? nlohmann::json() : nlohmann::json(pushed->entry.id)}});
    else if (pushed->old != pushed->now)
        printLine("Pushed " + pushed->branch + ": " + (pushed->old.isZero() ? "new" : pushed->old.brief()) + " to " +
                  pushed->now.brief() + (pushed->forced ? ", a forced update" : "") + ".");
    printNotices(pushed->notices);
    return exitDone;
}

} // namespace espalier

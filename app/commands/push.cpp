// SPDX-License-Identifier: MIT
#include "core/remotes/push.h"
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/process.h"
#include "core/git/text.h"
#include "core/remotes/overwrite_check.h"

#include <sstream>

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
}

// What a push would take to go on from here; empty when there is nothing to push, or nothing that must have been seen.
std::string nextCommand(const std::vector<OverwriteCheck>& checks, bool together)
{
    std::string branches;
    bool forced = false;
    for (const OverwriteCheck& check : checks) {
        if (check.upToDate)
            continue;
        forced = forced || !check.fastForward;
        branches +=
            (branches.empty() ? "" : " ") + check.branch + (check.fastForward ? "" : ":" + check.remoteTip.hex());
    }
    if (together)
        return branches.empty() ? branches : "espalier push PATH --together " + shellQuoted(branches);
    const OverwriteCheck& only = checks.front();
    return forced ? "espalier push PATH --branch " + only.branch + " --expect " + only.remoteTip.hex() : std::string();
}

Result<Oid> parseExpected(const std::string& text, const std::string& option)
{
    if (const auto id = Oid::parse(text))
        return *id;
    return fail(ErrorKind::Usage, option + " takes a full id of forty digits", displayText(text, 100),
                "Copy it from espalier overwrite-check");
}

// --branch B [--expect ID], or --together "B:ID C": a name of git's has neither blank nor colon.
Result<std::vector<PushRequest>> requestsIn(const Arguments& arguments)
{
    std::vector<PushRequest> requests;
    const auto together = arguments.value("together");
    if (!together) {
        const auto branch = arguments.required("branch");
        if (!branch)
            return std::unexpected(branch.error());
        requests.emplace_back().branch = *branch;
    } else if (arguments.value("branch") || arguments.value("expect")) {
        return fail(ErrorKind::Usage, "--together names the branches and what is expected of them", *together,
                    "Leave --branch and --expect out");
    }
    std::istringstream words(together.value_or(""));
    for (std::string word; words >> word;) {
        const std::size_t colon = word.find(':');
        PushRequest& request = requests.emplace_back();
        request.branch = word.substr(0, colon);
        if (colon == std::string::npos)
            continue;
        auto expected = parseExpected(word.substr(colon + 1), "--together");
        if (!expected)
            return std::unexpected(expected.error());
        request.expect = *expected;
    }
    if (requests.empty())
        return fail(ErrorKind::Usage, "--together names no branch", {}, "Name the branches, with a blank between them");
    if (const auto text = arguments.value("expect")) {
        auto expected = parseExpected(*text, "--expect");
        if (!expected)
            return std::unexpected(expected.error());
        requests.front().expect = *expected;
    }
    return requests;
}

nlohmann::json jsonPushed(const Pushed& pushed)
{
    return {{"branch", jsonText(pushed.branch)},
            {"old", jsonId(pushed.old)},
            {"new", jsonId(pushed.now)},
            {"forced", pushed.forced},
            {"entry", pushed.entry.id.empty() ? nlohmann::json() : nlohmann::json(pushed.entry.id)}};
}

nlohmann::json jsonAll(const char* name, nlohmann::json list, bool together)
{
    return together ? nlohmann::json{{name, std::move(list)}} : std::move(list.front());
}

} // namespace

Result<ExitStatus> runOverwriteCheck(const Arguments& arguments)
{
    const auto requests = requestsIn(arguments);
    if (!requests)
        return std::unexpected(requests.error());
    const bool together = arguments.value("together").has_value();
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    std::vector<OverwriteCheck> checks;
    nlohmann::json list = nlohmann::json::array();
    for (const PushRequest& request : *requests) {
        auto check = overwriteCheck(*repository, request.branch, true, terminalAccess(), interrupt.progress());
        if (!check)
            return std::unexpected(check.error());
        list.push_back(jsonCheck(*check));
        checks.push_back(std::move(*check));
    }
    if (arguments.has("json")) {
        printJson(jsonAll("checks", std::move(list), together));
    } else {
        for (const OverwriteCheck& check : checks) {
            if (together)
                printLine(check.branch + ":");
            printCheck(check);
        }
        if (const std::string next = nextCommand(checks, together); !next.empty())
            printLine("To go on: " + next);
    }
    return std::ranges::all_of(checks, [](const OverwriteCheck& check) { return check.foreign.empty(); }) ? exitDone
                                                                                                          : exitNo;
}

Result<ExitStatus> runPush(const Arguments& arguments)
{
    const auto requests = requestsIn(arguments);
    if (!requests)
        return std::unexpected(requests.error());
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    const auto all = pushAll(*repository, *requests, terminalAccess(), interrupt.progress());
    if (!all)
        return std::unexpected(all.error());
    nlohmann::json list = nlohmann::json::array();
    for (const Pushed& pushed : *all) {
        list.push_back(jsonPushed(pushed));
        if (!arguments.has("json") && pushed.old != pushed.now)
            printLine("Pushed " + pushed.branch + ": " + (pushed.old.isZero() ? "new" : pushed.old.brief()) + " to " +
                      pushed.now.brief() + (pushed.forced ? ", a forced update" : "") + ".");
    }
    if (arguments.has("json"))
        printJson(jsonAll("branches", std::move(list), arguments.value("together").has_value()));
    for (const Pushed& pushed : *all)
        printNotices(pushed.notices);
    return exitDone;
}

} // namespace espalier

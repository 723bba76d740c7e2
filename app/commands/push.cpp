// SPDX-License-Identifier: MIT
#include "core/remotes/push.h"
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/process.h"
#include "core/git/text.h"
#include "core/remotes/branch_difference.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/stands_on.h"

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

// A check with all that it is shown with.
struct CheckedBranch {
    OverwriteCheck check;
    BranchDifference difference;
    std::vector<StandsOn> standing;
};

nlohmann::json jsonDifference(const CheckedBranch& branch)
{
    if (branch.check.upToDate || branch.check.remoteTip.isZero())
        return nullptr;
    nlohmann::json files = nlohmann::json::array(), conflicts = nlohmann::json::array();
    for (const FileChange& file : branch.difference.changes.files)
        files.push_back({{"path", escapePath(file.newPath)}, {"added", file.added}, {"deleted", file.deleted}});
    for (const std::string& path : branch.difference.conflicts)
        conflicts.push_back(escapePath(path));
    return {{"oldBase", jsonId(branch.difference.oldBase.id)},
            {"newBase", jsonId(branch.difference.newBase.id)},
            {"files", files},
            {"conflicts", conflicts}};
}

nlohmann::json jsonStanding(const std::vector<StandsOn>& standing)
{
    nlohmann::json list = nlohmann::json::array();
    for (const StandsOn& other : standing)
        list.push_back({{"ref", jsonText(other.ref)},
                        {"kind", standsOnKindName(other.kind)},
                        {"tip", other.hasTip},
                        {"above", other.above},
                        {"old", other.old},
                        {"lost", other.lost}});
    return list;
}

nlohmann::json jsonCheck(const CheckedBranch& branch)
{
    const OverwriteCheck& check = branch.check;
    nlohmann::json pairs = nlohmann::json::array();
    for (const CommitPair& pair : check.pairs)
        pairs.push_back({{"old", jsonId(pair.old.id)},
                         {"new", jsonId(pair.now.id)},
                         {"state", checkStateName(stateOf(pair))},
                         {"moved", pair.moved}});
    return {{"branch", jsonText(check.branch)},
            {"remoteTip", jsonId(check.remoteTip)},
            {"localTip", jsonId(check.localTip)},
            {"fastForward", check.fastForward},
            {"pairs", pairs},
            {"added", jsonCommits(check.added)},
            {"removed", jsonCommits(check.removed)},
            {"foreign", jsonCommits(check.foreign)},
            {"kept", jsonCommits(check.kept)},
            {"difference", jsonDifference(branch)},
            {"standing", jsonStanding(branch.standing)}};
}

void printCommits(const std::string& title, const std::vector<CheckedCommit>& commits)
{
    if (commits.empty())
        return;
    printLine(title);
    for (const CheckedCommit& commit : commits)
        printLine("    " + commit.id.brief() + " " + commit.subject + " (" + commit.author + ")");
}

// What is to be read of a pair behind its subject.
std::string remarkOn(const CommitPair& pair)
{
    constexpr const char* remarks[] = {
        "", "", " (changed)", " (reworded)", " (same lines, other surroundings)", "", " (landed upstream)"};
    return remarks[std::size_t(stateOf(pair))] + std::string(pair.moved ? " (moved)" : "") +
           (pair.byUser ? "" : " (" + pair.old.author + ")");
}

void printDifference(const BranchDifference& difference)
{
    printLine("On the whole " + differenceWords(difference) + ", the upstream's own changes taken out.");
    for (const FileChange& file : difference.changes.files)
        printLine(
            "    " + displayText(file.newPath) +
            (file.binary ? " (binary)" : " +" + std::to_string(file.added) + " -" + std::to_string(file.deleted)));
    for (const std::string& path : difference.conflicts)
        printLine("    " + displayText(path) + ": the upstream changed what the old version changes");
}

void printCheck(const CheckedBranch& branch)
{
    const OverwriteCheck& check = branch.check;
    const std::size_t replaced = check.pairs.size() + check.removed.size() + check.foreign.size();
    if (check.upToDate)
        printLine("The fork already has " + check.branch + " as it is here.");
    else if (check.fastForward)
        printLine("A plain push does it: nothing on the fork is replaced.");
    else if (replaced == 0)
        printLine("A forced update would move the fork's branch; what stands there stays on upstream.");
    else
        printLine("A forced update would replace " + counted(replaced, "commit", "commits") + " on the fork.");
    printCommits("OF OTHERS, WITHOUT A COUNTERPART, lost if overwritten:", check.foreign);
    if (!check.pairs.empty())
        printLine("Replaced by a new version:");
    for (const CommitPair& pair : check.pairs)
        printLine("    " + pair.old.id.brief() + " by " + pair.now.id.brief() + " " + pair.now.subject +
                  remarkOn(pair));
    printCommits("Yours, only on the fork:", check.removed);
    printCommits("Added:", check.added);
    if (!check.kept.empty() && !check.upToDate)
        printLine((check.kept.size() == OverwriteCheck::mostKept ? "At least " : "") +
                  counted(check.kept.size(), "commit", "commits") + " below " +
                  (check.kept.size() == 1 ? "stays as it is." : "stay as they are."));
    if (!check.upToDate && !check.fastForward)
        printDifference(branch.difference);
    if (!branch.standing.empty())
        printLine("Also on the old commits, and not moved by the push:");
    for (const StandsOn& other : branch.standing)
        printLine("    " + standsOnWords(other));
    for (const std::string& caution : check.cautions)
        printLine(caution);
}

Result<std::vector<CheckedBranch>> lookAround(const Repository& repository, const std::vector<OverwriteCheck>& checks,
                                              const Progress& progress)
{
    // After all fetches: what they brought may be looked at. Where nothing is replaced nothing is looked for.
    const bool replaces = !std::ranges::all_of(checks, &OverwriteCheck::fastForward);
    const auto snapshot = replaces ? takeSnapshot(repository, progress) : std::make_shared<const Snapshot>();
    if (!snapshot)
        return std::unexpected(snapshot.error());
    std::vector<CheckedBranch> branches;
    for (const OverwriteCheck& check : checks) {
        auto difference = branchDifference(repository, check, progress);
        if (!difference)
            return std::unexpected(difference.error());
        branches.push_back({check, std::move(*difference), whatStandsOn(**snapshot, check)});
    }
    return branches;
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
    for (const PushRequest& request : *requests) {
        auto check = overwriteCheck(*repository, request.branch, true, terminalAccess(), interrupt.progress());
        if (!check)
            return std::unexpected(check.error());
        checks.push_back(std::move(*check));
    }
    const auto branches = lookAround(*repository, checks, interrupt.progress());
    if (!branches)
        return std::unexpected(branches.error());
    if (arguments.has("json")) {
        nlohmann::json list = nlohmann::json::array();
        for (const CheckedBranch& branch : *branches)
            list.push_back(jsonCheck(branch));
        printJson(jsonAll("checks", std::move(list), together));
    } else {
        for (const CheckedBranch& branch : *branches) {
            if (together)
                printLine(branch.check.branch + ":");
            printCheck(branch);
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

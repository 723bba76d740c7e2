// SPDX-License-Identifier: MIT
#include "core/history/drift.h"
#include "app/commands/command.h"
#include "core/git/text.h"
#include "core/history/equivalence.h"
#include "core/replay/batch.h"

namespace espalier {

namespace {

// The slow columns, for the clone's own branches only.
struct Outlook {
    std::optional<Landed> landed;
    std::optional<Forecast> forecast;
};

Outlook outlookOf(const Repository& repository, const Snapshot& snapshot, const Ref& ref, Batch& batch,
                  EquivalenceCache& cache)
{
    Outlook outlook;
    const Ref* mainLine = snapshot.mainLineRef();
    if (!mainLine || ref.row == noRow || mainLine->row == noRow)
        return outlook;
    if (auto landed = findLanded(repository, snapshot, ref.row, mainLine->row, cache))
        outlook.landed = *landed;
    Forecast forecast;
    if (ref.tip == mainLine->tip)
        forecast.kind = Forecast::Nothing;
    else if (snapshot.history.isAncestor(ref.row, mainLine->row))
        forecast.kind = Forecast::FastForward;
    else if (auto run = batch.run(ref.tip, mainLine->tip))
        forecast = forecastOf(*run);
    else
        forecast.reason = run.error().line();
    outlook.forecast = forecast;
    return outlook;
}

std::string_view forecastName(Forecast::Kind kind)
{
    switch (kind) {
    case Forecast::Clean:
        return "clean";
    case Forecast::Conflicts:
        return "conflict";
    case Forecast::FastForward:
        return "fast-forward";
    case Forecast::Landed:
        return "landed";
    case Forecast::Nothing:
        return "unchanged";
    default:
        return "unknown";
    }
}

nlohmann::json jsonForecast(const std::optional<Forecast>& forecast)
{
    if (!forecast)
        return {};
    return {{"outcome", forecastName(forecast->kind)}, {"hunks", forecast->hunks}, {"files", forecast->files}};
}

std::string describe(const Outlook& outlook)
{
    if (outlook.landed && outlook.landed->wholly() && outlook.landed->ahead > 0)
        return outlook.landed->squash ? "landed as " + outlook.landed->squash->brief() : "landed";
    if (!outlook.forecast)
        return {};
    switch (outlook.forecast->kind) {
    case Forecast::Clean:
        return "lands clean";
    case Forecast::Conflicts:
        return counted(outlook.forecast->hunks, "hunk", "hunks") + " in " +
               counted(outlook.forecast->files, "file", "files");
    case Forecast::FastForward:
        return "fast-forward";
    case Forecast::Nothing:
        return "up to date";
    case Forecast::Landed:
        return "landed";
    default:
        return outlook.forecast->reason;
    }
}

nlohmann::json jsonRow(const Snapshot& snapshot, const BranchDrift& branch, const Outlook& outlook)
{
    const Ref& ref = snapshot.refs[std::size_t(branch.ref)];
    const Ref* copy = ref.kind == RefKind::Branch ? snapshot.forkCopy(ref.branch) : nullptr;
    return {{"ref", jsonText(ref.name)},
            {"place", ref.place ? nlohmann::json(placeName(*ref.place)) : nlohmann::json()},
            {"tip", jsonId(ref.tip)},
            {"ahead", branch.ahead},
            {"behind", branch.behind},
            {"landed", outlook.landed ? nlohmann::json(outlook.landed->commits.size()) : nlohmann::json()},
            {"forkTip", copy ? jsonId(copy->tip) : nlohmann::json()},
            {"forecast", jsonForecast(outlook.forecast)}};
}

} // namespace

Result<ExitStatus> runDrift(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const auto snapshot = takeSnapshot(*repository);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    const bool all = arguments.has("all-refs");
    const auto drift = computeDrift(*snapshot, all ? DriftScope::AllRefs : DriftScope::Branches);
    if (!drift)
        return std::unexpected(drift.error());
    EquivalenceCache cache;
    Batch batch(*repository);
    const bool json = arguments.has("json");
    nlohmann::json rows = nlohmann::json::array();
    for (const BranchDrift& branch : drift->branches) {
        const Ref& ref = (*snapshot)->refs[std::size_t(branch.ref)];
        Outlook outlook;
        if (!all && ref.kind == RefKind::Branch && !arguments.has("no-forecast"))
            outlook = outlookOf(*repository, **snapshot, ref, batch, cache);
        if (json) {
            rows.push_back(jsonRow(**snapshot, branch, outlook));
            continue;
        }
        const std::string text = describe(outlook);
        char numbers[64];
        std::snprintf(numbers, sizeof numbers, "%6u behind %6u ahead  ", branch.behind, branch.ahead);
        printLine(numbers + ref.shortName + (text.empty() ? text : "  (" + text + ")"));
    }
    if (json)
        printJson(rows);
    return exitDone;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/history/drift.h"
#include "app/commands/command.h"
#include "core/git/text.h"
#include "core/replay/forecast.h"

namespace espalier {

namespace {

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

std::string describe(const std::optional<Forecast>& forecast)
{
    if (!forecast)
        return {};
    switch (forecast->kind) {
    case Forecast::Clean:
        return "lands clean";
    case Forecast::Conflicts:
        return counted(forecast->hunks, "hunk", "hunks") + " in " + counted(forecast->files, "file", "files");
    case Forecast::FastForward:
        return "fast-forward";
    case Forecast::Nothing:
        return "up to date";
    case Forecast::Landed:
        return forecast->landedAs ? "landed as " + forecast->landedAs->brief() : "landed";
    default:
        return forecast->reason;
    }
}

nlohmann::json jsonRow(const Snapshot& snapshot, const BranchDrift& branch, const std::optional<Forecast>& forecast)
{
    const Ref& ref = snapshot.refs[std::size_t(branch.ref)];
    const Ref* copy = ref.kind == RefKind::Branch ? snapshot.forkCopy(ref.branch) : nullptr;
    return {{"ref", jsonText(ref.name)},
            {"place", ref.place ? nlohmann::json(placeName(*ref.place)) : nlohmann::json()},
            {"tip", jsonId(ref.tip)},
            {"ahead", branch.ahead},
            {"behind", branch.behind},
            {"landed", forecast ? nlohmann::json(forecast->landed) : nlohmann::json()},
            {"forkTip", copy ? jsonId(copy->tip) : nlohmann::json()},
            {"forecast", jsonForecast(forecast)}};
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
    std::map<int, Forecast> known;
    if (!all && !arguments.has("no-forecast")) {
        const auto deliver = [&](int ref, const Forecast& forecast) { known.emplace(ref, forecast); };
        if (auto done = forecasts(*repository, **snapshot, {}, deliver); !done)
            return std::unexpected(done.error());
    }
    const bool json = arguments.has("json");
    nlohmann::json rows = nlohmann::json::array();
    for (const BranchDrift& branch : drift->branches) {
        const Ref& ref = (*snapshot)->refs[std::size_t(branch.ref)];
        const auto found = known.find(branch.ref);
        const auto forecast = found == known.end() ? std::nullopt : std::optional(found->second);
        if (json) {
            rows.push_back(jsonRow(**snapshot, branch, forecast));
            continue;
        }
        const std::string text = describe(forecast);
        char numbers[64];
        std::snprintf(numbers, sizeof numbers, "%6u behind %6u ahead  ", branch.behind, branch.ahead);
        printLine(numbers + ref.shortName + (text.empty() ? text : "  (" + text + ")"));
    }
    if (json)
        printJson(rows);
    // What is not there cannot be counted: the answer is not the whole.
    for (const std::string& line : (*snapshot)->damage)
        printNotices({line + " git fsck tells more"});
    return (*snapshot)->damage.empty() ? exitDone : exitError;
}

} // namespace espalier

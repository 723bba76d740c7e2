// SPDX-License-Identifier: MIT
#include "core/replay/json.h"

#include "core/git/text.h"

#include <nlohmann/json.hpp>

namespace espalier {

namespace {

// The order of the keys is part of the stable form.
using Json = nlohmann::ordered_json;

Json idOrNull(const std::optional<Oid>& id)
{
    return id && !id->isZero() ? Json(id->hex()) : Json(nullptr);
}

Json commitJson(const ReplayedCommit& commit)
{
    Json conflicts = Json::array();
    for (const Conflict& conflict : commit.conflicts)
        conflicts.push_back({{"path", escapePath(conflict.path.path)},
                             {"kind", conflictKindName(conflict.path.kind)},
                             {"hunks", conflict.hunks}});
    return {{"id", commit.id.hex()},
            {"subject", escapePath(commit.subject)},
            {"outcome", outcomeName(commit.outcome)},
            {"newId", idOrNull(commit.newId)},
            {"newTree", idOrNull(commit.newTree)},
            {"dependsOn", Json::array()},
            {"conflicts", std::move(conflicts)}};
}

Json runJson(const DryRun& run)
{
    Json commits = Json::array();
    for (const ReplayedCommit& commit : run.commits) {
        Json one = commitJson(commit);
        for (const std::size_t index : commit.dependsOn)
            one["dependsOn"].push_back(run.commits[index].id.hex());
        commits.push_back(std::move(one));
    }
    constexpr std::string_view heads = "refs/heads/";
    const std::string& branch = run.plan.branch;
    Json json;
    json["branch"] = branch.empty()
                         ? Json(nullptr)
                         : Json(escapePath(branch.starts_with(heads) ? branch.substr(heads.size()) : branch));
    json["tip"] = run.plan.tip.hex();
    json["onto"] = run.plan.onto.hex();
    json["mergeBase"] = idOrNull(run.plan.mergeBase);
    json["commits"] = std::move(commits);
    json["clean"] = run.clean;
    json["newTip"] = idOrNull(run.newTip);
    json["newTree"] = idOrNull(run.newTree);
    return json;
}

std::string oneLine(const Json& json)
{
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

} // namespace

std::string dryRunJson(const DryRun& run, std::optional<std::string> entry)
{
    Json json = runJson(run);
    if (entry) json["entry"] = *entry;
    return oneLine(json);
}

std::string batchJson(const BatchAnswer& answer)
{
    if (answer.run) return oneLine(runJson(*answer.run));
    return oneLine({{"tip", escapePath(answer.line.tip)},
                    {"onto", escapePath(answer.line.onto)},
                    {"error", answer.run.error().line()}});
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/replay/json.h"

#include "core/git/text.h"
#include "core/refs/ref_name.h"

#include <nlohmann/json.hpp>

#include <algorithm>

namespace espalier {

namespace {

// Written by hand, key by key in their stable order: for a batch, values made and thrown away cost as much as a merge.
class JsonLine {
  public:
    JsonLine& key(std::string_view name)
    {
        comma();
        m_text += '"';
        m_text += name;
        m_text += "\":";
        m_first = true; // its value needs no comma
        return *this;
    }
    void id(const Oid& id)
    {
        comma();
        m_text += '"';
        m_text += id.hex();
        m_text += '"';
    }
    void idOrNull(const std::optional<Oid>& value)
    {
        if (value && !value->isZero())
            id(*value);
        else
            raw("null");
    }
    void string(std::string_view text)
    {
        comma();
        const auto special = [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == '"' || c == '\\'; };
        if (std::ranges::any_of(text, special)) {
            m_text += nlohmann::json(text).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
            return;
        }
        m_text += '"';
        m_text += text;
        m_text += '"';
    }
    void raw(std::string_view text)
    {
        comma();
        m_text += text;
    }
    void open(char bracket)
    {
        comma();
        m_text += bracket;
        m_first = true;
    }
    void close(char bracket)
    {
        m_text += bracket;
        m_first = false;
    }
    std::string take() { return std::move(m_text); }

  private:
    void comma()
    {
        if (!m_first)
            m_text += ',';
        m_first = false;
    }

    std::string m_text;
    bool m_first = true;
};

void addCommit(JsonLine& json, const DryRun& run, const ReplayedCommit& commit)
{
    json.open('{');
    json.key("id").id(commit.id);
    json.key("subject").string(escapePath(commit.subject));
    json.key("outcome").string(outcomeName(commit.outcome));
    json.key("newId").idOrNull(commit.newId);
    json.key("newTree").idOrNull(commit.newTree);
    json.key("dependsOn").open('[');
    for (const std::size_t index : commit.dependsOn)
        json.id(run.commits[index].id);
    json.close(']');
    json.key("conflicts").open('[');
    for (const Conflict& conflict : commit.conflicts) {
        if (!conflict.path.listed())
            continue;
        json.open('{');
        json.key("path").string(escapePath(conflict.path.path));
        json.key("kind").string(conflictKindName(conflict.path.kind));
        json.key("hunks").raw(std::to_string(conflict.hunks));
        json.close('}');
    }
    json.close(']');
    json.key("unclear").open('[');
    for (const Conflict& conflict : commit.conflicts)
        if (!conflict.path.listed())
            json.string(escapePath(conflict.path.path));
    json.close(']');
    if (!commit.notAsGit.empty()) {
        json.key("notAsGit").open('[');
        for (const NotAsGit& path : commit.notAsGit) {
            json.open('{');
            json.key("path").string(escapePath(path.path));
            json.key("driver");
            if (path.driver.empty())
                json.raw("null");
            else
                json.string(escapePath(path.driver));
            json.close('}');
        }
        json.close(']');
    }
    json.close('}');
}

} // namespace

std::string dryRunJson(const DryRun& run, std::optional<std::string> entry)
{
    JsonLine json;
    json.open('{');
    if (run.plan.branch.empty())
        json.key("branch").raw("null");
    else
        json.key("branch").string(escapePath(branchOrRef(run.plan.branch)));
    json.key("tip").id(run.plan.tip);
    json.key("onto").id(run.plan.onto);
    json.key("mergeBase").idOrNull(run.plan.mergeBase);
    json.key("commits").open('[');
    for (const ReplayedCommit& commit : run.commits)
        addCommit(json, run, commit);
    json.close(']');
    json.key("clean").raw(run.clean ? "true" : "false");
    json.key("newTip").idOrNull(run.newTip);
    json.key("newTree").idOrNull(run.newTree);
    if (!run.stackedTips.empty()) {
        json.key("movesAlong").open('[');
        for (const auto& [branch, tip] : run.stackedTips) {
            json.open('{');
            json.key("branch").string(escapePath(branchOrRef(branch)));
            json.key("newTip").id(tip);
            json.close('}');
        }
        json.close(']');
    }
    if (entry)
        json.key("entry").string(escapePath(*entry));
    json.close('}');
    return json.take();
}

std::string batchJson(const BatchAnswer& answer)
{
    if (answer.run)
        return dryRunJson(*answer.run);
    JsonLine json;
    json.open('{');
    json.key("tip").string(escapePath(answer.line.tip));
    json.key("onto").string(escapePath(answer.line.onto));
    json.key("error").string(escapePath(answer.run.error().line()));
    json.close('}');
    return json.take();
}

} // namespace espalier

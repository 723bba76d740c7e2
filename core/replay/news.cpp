// SPDX-License-Identifier: MIT
#include "core/replay/news.h"

#include "core/history/drift.h"

#include <array>
#include <charconv>

namespace espalier {

namespace {

// A look is kept among the user's settings; a repository with more branches is remembered in part.
constexpr std::size_t mostBranches = 500;

bool lands(Forecast::Kind outcome) { return outcome == Forecast::Landed || outcome == Forecast::FastForward; }

std::string_view nextPart(std::string_view& rest, char end)
{
    const std::size_t at = std::min(rest.find(end), rest.size());
    const std::string_view part = rest.substr(0, at);
    rest.remove_prefix(std::min(at + 1, rest.size()));
    return part;
}

} // namespace

std::string Look::text() const
{
    std::string text = mainTip.hex() + '\n';
    std::size_t count = 0;
    for (const auto& [name, branch] : branches) {
        if (++count > mostBranches)
            break;
        text += branch.tip.hex() + ' ' + std::to_string(int(branch.outcome)) + ' ' + name + '\n';
    }
    return text;
}

Look Look::parse(std::string_view text)
{
    Look look;
    const auto main = Oid::parse(nextPart(text, '\n'));
    if (!main)
        return look;
    look.mainTip = *main;
    while (!text.empty() && look.branches.size() < mostBranches) {
        std::string_view line = nextPart(text, '\n');
        const auto tip = Oid::parse(nextPart(line, ' '));
        const std::string_view outcome = nextPart(line, ' ');
        int kind = -1;
        const auto read = std::from_chars(outcome.data(), outcome.data() + outcome.size(), kind);
        if (tip && read.ec == std::errc() && kind >= 0 && kind < Forecast::Unknown && !line.empty())
            look.branches[std::string(line)] = {*tip, Forecast::Kind(kind)};
    }
    return look;
}

Look lookAt(const Snapshot& snapshot, const std::map<std::string, Forecast>& forecasts)
{
    Look look;
    if (const Ref* mainLine = snapshot.mainLineRef())
        look.mainTip = mainLine->tip;
    for (const auto& [name, forecast] : forecasts)
        if (const Ref* ref = snapshot.findRef(name); ref && forecast.kind != Forecast::Unknown)
            look.branches[name] = {ref->tip, forecast.kind};
    return look;
}

Result<News> newsSince(const Look& before, const Look& now, const Snapshot& snapshot, const Progress& progress)
{
    News news;
    if (before.mainTip.isZero() || now.mainTip.isZero())
        return news;
    const Row was = snapshot.history.find(before.mainTip), is = snapshot.history.find(now.mainTip);
    if (was != noRow && is != noRow && was != is) {
        const std::array<Row, 1> tips{was};
        const auto drift = driftOfAll(snapshot.history, is, tips, progress);
        if (!drift)
            return std::unexpected(drift.error());
        news.commits = drift->front().behind;
    }
    for (const auto& [name, branch] : now.branches) {
        const auto at = before.branches.find(name);
        if (at == before.branches.end() || at->second.tip != branch.tip || at->second.outcome == branch.outcome)
            continue;
        if (lands(branch.outcome) && !lands(at->second.outcome))
            news.nowLanded.push_back(name);
        else if (branch.outcome == Forecast::Conflicts)
            news.nowConflict.push_back(name);
        else if (branch.outcome == Forecast::Clean && at->second.outcome == Forecast::Conflicts)
            news.nowClean.push_back(name);
    }
    return news;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "core/lanes/layout_report.h"

#include <cstdio>

namespace espalier {

Result<ExitStatus> runLayout(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const auto report = reportLayout(*repository);
    if (!report)
        return std::unexpected(report.error());
    const double perCommit =
        report->commits == 0 ? 0 : double(report->historyBytes + report->lanesBytes) / double(report->commits);
    if (arguments.has("json")) {
        nlohmann::json answer{
            {"commits", report->commits},
            {"refs", report->refs},
            {"lanes", {{"upstream", report->lanes[0]}, {"fork", report->lanes[1]}, {"clone", report->lanes[2]}}},
            {"crossings", report->crossings},
            {"stubs", report->stubs},
            {"foldedRows", report->foldedRows},
            {"historyBytes", report->historyBytes},
            {"lanesBytes", report->lanesBytes},
            {"bytesPerCommit", perCommit}};
        if (arguments.has("bench"))
            answer.update({{"loadMs", report->loadMs},
                           {"layoutMs", report->layoutMs},
                           {"foldedLayoutMs", report->foldedLayoutMs},
                           {"screenUs", report->screenUs}});
        printJson(answer);
        return exitDone;
    }
    std::printf("commits %llu, refs %llu\n", static_cast<unsigned long long>(report->commits),
                static_cast<unsigned long long>(report->refs));
    std::printf("lanes: upstream %u, fork %u, clone %u; crossings %llu; lines only begun %llu; rows when folded %llu\n",
                report->lanes[0], report->lanes[1], report->lanes[2],
                static_cast<unsigned long long>(report->crossings), static_cast<unsigned long long>(report->stubs),
                static_cast<unsigned long long>(report->foldedRows));
    std::printf("memory: history %zu bytes, lanes %zu bytes, %.1f a commit\n", report->historyBytes, report->lanesBytes,
                perCommit);
    if (arguments.has("bench"))
        std::printf(
            "time: load and order %.1f ms, lay out %.1f ms, lay out folded %.1f ms, a screenful of lines %.1f us\n",
            report->loadMs, report->layoutMs, report->foldedLayoutMs, report->screenUs);
    return exitDone;
}

} // namespace espalier

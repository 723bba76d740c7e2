// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/remotes/fetch.h"

namespace espalier {

Result<ExitStatus> runUpdate(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const Interrupt interrupt;
    const auto report = bringUpToDate(*repository, terminalAccess(), interrupt.progress());
    if (!report)
        return std::unexpected(report.error());
    if (arguments.has("json")) {
        nlohmann::json fetched = nlohmann::json::array();
        for (const FetchReport& one : report->fetched)
            fetched.push_back({{"remote", jsonText(one.remote)}, {"refs", jsonMoves(one.moves)}});
        printJson({{"fetched", fetched},
                   {"refs", jsonMoves(report->moves)},
                   {"pushedToFork", report->pushedToFork},
                   {"ownCommits", report->ownCommits}});
    } else {
        for (const FetchReport& one : report->fetched)
            printLine(one.line());
        for (const std::string& line : report->lines)
            printLine(line);
    }
    // What was asked for is not done while the fork has not got it.
    if (report->notPushed)
        return std::unexpected(*report->notPushed);
    return report->ownCommits == 0 ? exitDone : exitNo;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/keep/apply.h"
#include "core/remotes/push.h"

#include <ctime>

namespace espalier {

namespace {

std::string localTime(std::int64_t when)
{
    const std::time_t time = when;
    std::tm parts{};
    localtime_r(&time, &parts);
    char buffer[32];
    std::strftime(buffer, sizeof buffer, "%Y-%m-%d %H:%M", &parts);
    return buffer;
}

std::string briefOrDash(const Oid& id) { return id.isZero() ? "-" : id.brief(); }

} // namespace

Result<ExitStatus> runLogbook(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    std::vector<std::string> notices;
    const auto entries = readLogbook(*repository, &notices);
    if (!entries)
        return std::unexpected(entries.error());
    if (arguments.has("json")) {
        nlohmann::json rows = nlohmann::json::array();
        for (const LogbookEntry& entry : *entries)
            rows.push_back({{"entry", entry.id},
                            {"kind", entryKindName(entry.kind)},
                            {"when", entry.when},
                            {"state", entryStateName(entry.state)},
                            {"refs", jsonMoves(entry.moves)}});
        printJson(rows);
    } else {
        for (const LogbookEntry& entry : *entries) {
            printLine(entry.id + "  " + localTime(entry.when) + "  " + std::string(entryStateName(entry.state)) + "  " +
                      entry.title);
            for (const RefMove& move : entry.moves)
                printLine("    " + move.name + "  " + briefOrDash(move.old) + " to " + briefOrDash(move.now));
        }
        if (entries->empty())
            printLine("The logbook is empty.");
    }
    printNotices(notices);
    return exitDone;
}

Result<ExitStatus> runRestore(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    const auto entry = findEntry(*repository, arguments.word(1));
    if (!entry)
        return std::unexpected(entry.error());
    LogbookEntry made;
    std::vector<std::string> notices;
    const Interrupt interrupt;
    if (!entry->remote.empty()) {
        const auto pushed = restorePush(*repository, entry->id, terminalAccess(), interrupt.progress());
        if (!pushed)
            return std::unexpected(pushed.error());
        made = pushed->entry;
        notices = pushed->notices;
    } else {
        const auto applied = restore(*repository, entry->id, false, interrupt.progress());
        if (!applied)
            return std::unexpected(applied.error());
        made = applied->entry;
        notices = applied->notices;
    }
    if (arguments.has("json"))
        printJson({{"entry", made.id}, {"refs", jsonMoves(made.moves)}});
    else
        printLine("Taken back: " + entry->title + ". This is entry " + made.id + ".");
    printNotices(notices);
    return exitDone;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/commands/command.h"
#include "app/commands/interrupt.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/keep/kept_space.h"
#include "core/remotes/push.h"
#include "core/remotes/take_back.h"

#include <charconv>
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

// "90d", "12w" or "1y", in seconds; nothing for what is none of it.
std::optional<std::int64_t> ageFrom(std::string_view text)
{
    constexpr std::int64_t day = 24 * 60 * 60;
    std::int64_t number = 0;
    const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
    if (read.ec != std::errc{} || number < 0 || number > 36500 || read.ptr + 1 != text.data() + text.size())
        return std::nullopt;
    switch (*read.ptr) {
    case 'd':
        return number * day;
    case 'w':
        return number * 7 * day;
    case 'y':
        return number * 365 * day;
    default:
        return std::nullopt;
    }
}

// What the user lets go: one entry, or all that are older.
Result<ExitStatus> letGo(const Repository& repository, const Arguments& arguments)
{
    std::size_t gone = 0;
    if (const auto entry = arguments.value("forget")) {
        if (auto forgotten = forgetEntry(repository, *entry); !forgotten)
            return std::unexpected(forgotten.error());
        ++gone;
    }
    if (const auto text = arguments.value("expire")) {
        const auto age = ageFrom(*text);
        if (!age)
            return fail(ErrorKind::Usage, "--expire takes an age in days, weeks or years", *text,
                        "For example 90d, 12w or 1y");
        auto expired = forgetOlder(repository, std::time(nullptr) - *age);
        if (!expired)
            return std::unexpected(expired.error());
        gone += *expired;
    }
    if (arguments.has("json"))
        printJson({{"letGo", gone}});
    else
        printLine(counted(gone, "entry was", "entries were") + " let go; git gc frees what only they kept.");
    return exitDone;
}

std::string briefOrDash(const Oid& id) { return id.isZero() ? "-" : id.brief(); }

} // namespace

Result<ExitStatus> runLogbook(const Arguments& arguments)
{
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return std::unexpected(repository.error());
    if (arguments.value("expire") || arguments.value("forget"))
        return letGo(*repository, arguments);
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
                            {"who", jsonText(entry.who)},
                            {"refs", jsonMoves(entry.moves)}});
        printJson(rows);
    } else {
        for (const LogbookEntry& entry : *entries) {
            printLine(entry.id + "  " + localTime(entry.when) + "  " + std::string(entryStateName(entry.state)) + "  " +
                      entry.title + (entry.who.empty() ? "" : "  (" + entry.who + ")"));
            for (const RefMove& move : entry.moves)
                printLine("    " + move.name + "  " + briefOrDash(move.old) + " to " + briefOrDash(move.now));
        }
        if (entries->empty())
            printLine("The logbook is empty.");
        if (arguments.has("space")) {
            const auto bytes = keptSpace(*repository);
            if (!bytes)
                return std::unexpected(bytes.error());
            printLine("The kept tips hold " + counted(*bytes, "byte", "bytes") + " that nothing else needs.");
        }
    }
    printNotices(notices);
    return exitDone;
}

// What a push overwrote comes back by a forced update: what that would replace is shown first, and goes only by its tip.
static Result<std::optional<Oid>> checkedTip(const Repository& repository, const LogbookEntry& entry,
                                             const Arguments& arguments, const Progress& progress)
{
    if (const auto text = arguments.value("expect")) {
        const auto id = Oid::parse(*text);
        if (!id)
            return fail(ErrorKind::Usage, "--expect takes a full id of forty digits", *text,
                        "Copy it from what the restore without it says");
        return id;
    }
    const auto moved = movedSince(repository, entry, terminalAccess(), progress);
    if (!moved)
        return std::unexpected(moved.error());
    for (const MovedBranch& branch : *moved) {
        std::vector<std::string> lines{branch.name + " moved since; what would be overwritten:"};
        for (const LostCommit& commit : branch.newest)
            lines.push_back("    " + commit.id.brief() + " " + commit.subject + " (" + commit.author + ")");
        if (branch.count > branch.newest.size())
            lines.push_back("    and " + std::to_string(branch.count - branch.newest.size()) + " more");
        printNotices(lines);
        return fail(ErrorKind::Refused, "The branch moved since the push that is to be taken back", branch.name,
                    "To overwrite it all the same: espalier restore PATH " + entry.id + " --expect " +
                        branch.now.hex());
    }
    return std::optional<Oid>();
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
        const auto expect = checkedTip(*repository, *entry, arguments, interrupt.progress());
        if (!expect)
            return std::unexpected(expect.error());
        const auto pushed = restorePush(*repository, entry->id, terminalAccess(), interrupt.progress(), *expect);
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

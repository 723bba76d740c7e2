// SPDX-License-Identifier: MIT
#include "core/keep/logbook.h"

#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/keep/apply_steps.h"
#include "core/keep/entry_file.h"
#include "core/keep/open_entries.h"
#include "core/keep/storage.h"

#include <cerrno>
#include <chrono>
#include <ctime>

#include <fcntl.h>
#include <pwd.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t maxEntries = 10000;

fs::path entryFile(const Repository& repository, const std::string& id)
{
    return logbookFolder(repository) / (id + ".json");
}

Result<std::string> reserveId(const Repository& repository, std::int64_t when)
{
    for (int number = 1; number < 1000; ++number) {
        std::string id = entryTime(when) + "-" + std::to_string(number);
        std::error_code ignored;
        const bool used = fs::exists(entryFile(repository, id), ignored) ||
                          fs::exists(repository.commonDir() / "refs/espalier/kept" / id, ignored);
        if (used)
            continue;
        const fs::path path = openMark(repository, id);
        const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
        if (file >= 0) {
            ::close(file);
            return id;
        }
        if (errno != EEXIST)
            return storageError("The logbook cannot be written", path, errno);
    }
    return fail(ErrorKind::Refused, "The logbook has too many entries of this second", {}, "Try again");
}

// As git's own logs have it; a clone without user.name still belongs to somebody.
std::string whoIsHere(const Repository& repository)
{
    if (const auto known = committerIdentity(repository))
        return known->name + " <" + known->email + ">";
    const passwd* const account = ::getpwuid(::geteuid());
    return account && account->pw_name ? account->pw_name : std::to_string(::geteuid());
}

Result<void> writeEntry(const Repository& repository, const LogbookEntry& entry)
{
    const std::string text = formatEntry(entry);
    if (text.size() > maxEntryBytes)
        return fail(ErrorKind::Unsupported, "The change is too large for one entry of the logbook", entry.title,
                    "Do it in smaller steps");
    return writeFileAtomically(entryFile(repository, entry.id), text);
}

} // namespace

std::string_view entryKindName(EntryKind kind)
{
    switch (kind) {
    case EntryKind::Replay:
        return "replay";
    case EntryKind::Update:
        return "update";
    case EntryKind::Push:
        return "push";
    case EntryKind::Restore:
        return "restore";
    case EntryKind::Branch:
        return "branch";
    case EntryKind::CleanUp:
        return "clean-up";
    case EntryKind::Fetch:
        return "fetch";
    }
    return {};
}

std::string_view entryStateName(EntryState state)
{
    switch (state) {
    case EntryState::Begun:
        return "begun";
    case EntryState::Done:
        return "done";
    case EntryState::Undone:
        return "undone";
    case EntryState::TakenBack:
        return "taken back";
    }
    return {};
}

std::string keptRef(const std::string& entry, std::size_t index)
{
    return "refs/espalier/kept/" + entry + "/" + std::to_string(index);
}

Result<std::vector<LogbookEntry>> readLogbook(const Repository& repository, std::vector<std::string>* notices)
{
    std::vector<LogbookEntry> entries;
    std::error_code error;
    fs::directory_iterator files(logbookFolder(repository), error);
    if (error == std::errc::no_such_file_or_directory)
        return entries;
    if (error)
        return storageError("The logbook cannot be read", logbookFolder(repository), error.value());
    std::vector<std::string> ids;
    for (; files != fs::directory_iterator(); files.increment(error)) {
        if (error)
            return storageError("The logbook cannot be read", logbookFolder(repository), error.value());
        const fs::path& path = files->path();
        if (path.extension() != ".json")
            continue;
        if (isEntryId(path.stem().native()))
            ids.push_back(path.stem().native());
        else if (notices)
            notices->push_back("This file of the logbook was passed over: " + displayText(path.filename().native()));
    }
    std::ranges::sort(ids, [](const auto& a, const auto& b) { return isOlderEntry(b, a); });
    if (ids.size() > maxEntries) {
        ids.resize(maxEntries);
        if (notices)
            notices->push_back("Only the newest " + std::to_string(maxEntries) + " entries of the logbook are shown");
    }
    for (const std::string& id : ids) {
        auto entry = findEntry(repository, id);
        if (entry)
            entries.push_back(std::move(*entry));
        else if (notices && entry.error().kind != ErrorKind::NotFound)
            notices->push_back("Passed over: " + entry.error().line());
    }
    return entries;
}

Result<LogbookEntry> findEntry(const Repository& repository, const std::string& id)
{
    const auto missing = [&] {
        return fail(ErrorKind::NotFound, "The logbook has no such entry", displayText(id, 64),
                    "The logbook lists the entries there are");
    };
    if (!isEntryId(id))
        return missing();
    auto text = readFileBounded(entryFile(repository, id), maxEntryBytes);
    if (!text)
        return text.error().kind == ErrorKind::NotFound ? missing() : std::unexpected(text.error());
    return parseEntry(*text, id);
}

Result<LogbookEntry> beginEntry(const Repository& repository, LogbookEntry entry)
{
    if (auto made = makeFolders(logbookFolder(repository)); !made)
        return std::unexpected(made.error());
    entry.when =
        std::chrono::duration_cast<std::chrono::seconds>(std::chrono::system_clock::now().time_since_epoch()).count();
    entry.title = displayText(entry.title, 1000);
    entry.state = EntryState::Begun;
    entry.who = displayText(whoIsHere(repository), 300);
    auto id = reserveId(repository, entry.when);
    if (!id)
        return std::unexpected(id.error());
    entry.id = *id;
    Result<void> done = writeKeptRefs(repository, entry, entry.remote.empty() && !entry.pairs.empty());
    if (done) {
        passApplyStep(ApplyStep::TipsKept);
        done = writeEntry(repository, entry);
    }
    if (!done) {
        (void)abandonEntry(repository, entry.id);
        return std::unexpected(done.error());
    }
    return entry;
}

Result<void> setEntryState(const Repository& repository, const LogbookEntry& entry, EntryState state, bool staysOpen)
{
    auto stored = findEntry(repository, entry.id);
    if (!stored)
        return std::unexpected(stored.error());
    if (stored->state != state) {
        stored->state = state;
        if (auto written = writeEntry(repository, *stored); !written)
            return written;
    }
    // The state stands. What is not cleared away now is at the next start, as long as the mark is there.
    if (state != EntryState::Begun && !staysOpen)
        (void)closeEntry(repository, entry.id);
    return {};
}

Result<void> abandonEntry(const Repository& repository, const std::string& id)
{
    const fs::path file = entryFile(repository, id);
    if (const int error = removeSurely(file); error != 0)
        return storageError("The entry cannot be removed", file, error);
    if (auto dropped = dropKeptRefs(repository, {id}); !dropped)
        return dropped;
    return closeEntry(repository, id);
}

Result<void> forgetEntry(const Repository& repository, const std::string& id)
{
    const fs::path mark = forgetMark(repository, id), file = entryFile(repository, id);
    auto entry = findEntry(repository, id);
    if (!entry && ::access(mark.c_str(), F_OK) != 0)
        return std::unexpected(entry.error());
    if (entry && entry->state == EntryState::Begun)
        return fail(ErrorKind::Refused, "This entry has not been completed yet", id,
                    "Open the repository again, which completes or undoes it");
    std::optional<Result<RefTransactionHook>> asked;
    if (::access(mark.c_str(), F_OK) != 0) {
        asked.emplace(askToDrop(repository, id));
        if (!*asked)
            return std::unexpected(asked->error());
    }
    // First: from here on the entry goes, at the next start if not now. Its tips are never let go before it.
    if (const Fd made(::open(mark.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0644)); !made.isOpen())
        return storageError("The entry cannot be removed", file, errno);
    if (const int error = removeSurely(file); error != 0) {
        removeSurely(mark);
        return storageError("The entry cannot be removed", file, error);
    }
    auto gone = syncFolder(file.parent_path());
    if (!gone)
        gone = syncFolder(file.parent_path()); // as removeSurely() does
    gone = gone.and_then([&] { return dropKeptRefs(repository, {id}); });
    if (!gone) {
        gone.error().remedy += (gone.error().remedy.empty() ? "" : ". ") +
                               std::string("The entry is let go; what it kept may stay until the next command");
        return gone;
    }
    removeSurely(mark);
    if (asked)
        (void)(*asked)->committed();
    return {};
}

Result<std::size_t> forgetOlder(const Repository& repository, std::int64_t before)
{
    auto lock = ChangeLock::take(repository);
    if (!lock)
        return std::unexpected(lock.error());
    auto entries = readLogbook(repository);
    if (!entries)
        return std::unexpected(entries.error());
    std::size_t gone = 0;
    for (const LogbookEntry& entry : *entries) {
        if (entry.when >= before || isOpen(repository, entry.id))
            continue;
        if (auto forgotten = forgetEntry(repository, entry.id); !forgotten)
            return std::unexpected(forgotten.error());
        ++gone;
    }
    return gone;
}

} // namespace espalier

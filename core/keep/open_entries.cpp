// SPDX-License-Identifier: MIT
#include "core/keep/open_entries.h"

#include "core/git/handles.h"
#include "core/keep/entry_file.h"
#include "core/refs/ref_locks.h"
#include "core/refs/ref_transaction.h"

#include <cerrno>
#include <cstdio>
#include <set>

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::string_view comingName = "coming-";

fs::path keptFolder(const Repository& repository) { return repository.commonDir() / "refs/espalier/kept"; }

std::string keptPrefix(const std::string& id) { return "refs/espalier/kept/" + id + "/"; }

std::vector<std::string> idsWithMark(const Repository& repository, std::string_view extension)
{
    std::vector<std::string> ids;
    std::error_code error;
    for (fs::directory_iterator files(logbookFolder(repository), error); !error && files != fs::directory_iterator();
         files.increment(error)) {
        const fs::path& path = files->path();
        if (path.extension() == extension && isEntryId(path.stem().native()))
            ids.push_back(path.stem().native());
    }
    std::ranges::sort(ids, isOlderEntry);
    return ids;
}

// As git writes a ref: under its lock's name, then put in place. Nobody else writes below this folder.
Result<void> writeRefFile(const fs::path& file, const Oid& id)
{
    const fs::path lock = file.string() + ".lock";
    int error = 0;
    {
        const Fd out(::open(lock.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666));
        error = out.isOpen() ? writeAll(out.get(), id.hex() + '\n') : errno;
        if (error == 0 && ::fsync(out.get()) < 0)
            error = errno;
    }
    if (error == 0 && ::rename(lock.c_str(), file.c_str()) < 0)
        error = errno;
    if (error == 0)
        return {};
    removeSurely(lock);
    return storageError("The old tip cannot be kept", file, error);
}

std::vector<std::string> refsBelow(const Repository& repository, const std::string& prefix)
{
    std::vector<std::string> names;
    Handle<git_reference_iterator> iterator;
    if (git_reference_iterator_glob_new(out(iterator), raw(repository), (prefix + "*").c_str()) < 0)
        return names;
    const char* name = nullptr;
    while (git_reference_next_name(&name, iterator.get()) == 0)
        names.emplace_back(name);
    return names;
}

Result<std::vector<RefMove>> removalOf(const Repository& repository, const std::vector<std::string>& names)
{
    std::vector<RefMove> moves;
    for (const std::string& name : names) {
        auto now = readRef(raw(repository), name);
        if (!now)
            return std::unexpected(now.error());
        moves.push_back({name, *now, Oid{}});
    }
    return moves;
}

Result<void> removeRefs(const Repository& repository, const std::vector<std::string>& names)
{
    const auto moves = removalOf(repository, names);
    if (!moves)
        return std::unexpected(moves.error());
    if (moves->empty())
        return {};
    auto locks = RefLocks::take(raw(repository), *moves);
    if (!locks)
        return std::unexpected(locks.error());
    auto done = locks->commit("espalier: let go");
    return done ? locks->release() : done;
}

} // namespace

fs::path logbookFolder(const Repository& repository) { return ownFolder(repository) / "logbook"; }

fs::path openMark(const Repository& repository, const std::string& id)
{
    return logbookFolder(repository) / (id + ".open");
}

fs::path forgetMark(const Repository& repository, const std::string& id)
{
    return logbookFolder(repository) / (id + ".forget");
}

std::vector<std::string> openEntryIds(const Repository& repository) { return idsWithMark(repository, ".open"); }
std::vector<std::string> forgottenIds(const Repository& repository) { return idsWithMark(repository, ".forget"); }

std::vector<std::string> entryIdsSince(const Repository& repository, std::int64_t when)
{
    std::vector<std::string> ids = idsWithMark(repository, ".json");
    const std::string first = entryTime(when);
    std::erase_if(ids, [&](const std::string& id) { return id.compare(0, first.size(), first) < 0; });
    return ids;
}

bool isOpen(const Repository& repository, const std::string& id)
{
    return ::access(openMark(repository, id).c_str(), F_OK) == 0;
}

Result<Fd> holdMark(const Repository& repository, const std::string& id)
{
    const fs::path mark = openMark(repository, id);
    Fd file(::open(mark.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    if (!file.isOpen())
        return storageError("The logbook cannot be read", mark, errno);
    if (::flock(file.get(), LOCK_EX | LOCK_NB) < 0)
        return fail(ErrorKind::Refused, "Another window or command is at work on this entry", id,
                    "Wait until it is done and try again");
    return file;
}

Result<void> closeEntry(const Repository& repository, const std::string& id)
{
    const std::string coming = keptPrefix(id) + std::string(comingName);
    // A disk that fails once may not fail twice; else the next start does it.
    if (!removeRefs(repository, refsBelow(repository, coming)))
        if (auto removed = removeRefs(repository, refsBelow(repository, coming)); !removed)
            return removed;
    const fs::path mark = openMark(repository, id);
    if (const int error = removeSurely(mark); error != 0)
        return storageError("The logbook cannot be written", mark, error);
    return {};
}

std::vector<RefMove> keptMoves(const LogbookEntry& entry, bool coming)
{
    // One ref for each commit: of a thousand branches at one commit, a thousand refs keep no more.
    std::set<Oid> kept;
    std::vector<RefMove> moves;
    for (std::size_t i = 0; i < entry.moves.size(); ++i) {
        const Oid& id = coming ? entry.moves[i].now : entry.moves[i].old;
        if (!id.isZero() && kept.insert(id).second)
            moves.push_back(
                {keptPrefix(entry.id) + std::string(coming ? comingName : "") + std::to_string(i), Oid{}, id});
    }
    return moves;
}

Result<void> writeKeptRefs(const Repository& repository, const LogbookEntry& entry, bool coming)
{
    const fs::path folder = keptFolder(repository) / entry.id;
    std::vector<RefMove> moves = keptMoves(entry, false);
    if (coming)
        std::ranges::move(keptMoves(entry, true), std::back_inserter(moves));
    if (moves.empty())
        return {};
    if (auto made = makeFolders(folder); !made)
        return made;
    for (const RefMove& move : moves)
        if (auto written = writeRefFile(repository.commonDir() / move.name, move.now); !written)
            return written;
    const fs::path refs = repository.commonDir() / "refs";
    for (const fs::path& made : {folder, keptFolder(repository), refs / "espalier", refs})
        if (auto synced = syncFolder(made); !synced)
            return synced;
    return {};
}

Result<RefTransactionHook> askToDrop(const Repository& repository, const std::string& id)
{
    const auto moves = removalOf(repository, refsBelow(repository, keptPrefix(id)));
    if (!moves)
        return std::unexpected(moves.error());
    return RefTransactionHook::prepare(repository, transactionLines(*moves));
}

Result<void> dropKeptRefs(const Repository& repository, const std::vector<std::string>& ids)
{
    std::vector<std::string> names;
    for (const std::string& id : ids) {
        // What a crash in writeRefFile() has left.
        const fs::path folder = keptFolder(repository) / id;
        std::error_code error;
        for (fs::directory_iterator at(folder, error); !error && at != fs::directory_iterator(); at.increment(error))
            if (at->path().extension() == ".lock")
                if (const int code = removeSurely(at->path()); code != 0)
                    return storageError("A file that was left behind cannot be removed", at->path(), code);
        for (std::string& name : refsBelow(repository, keptPrefix(id)))
            names.push_back(std::move(name));
    }
    if (auto removed = removeRefs(repository, names); !removed)
        return removed;
    for (const std::string& id : ids) {
        const fs::path folder = keptFolder(repository) / id;
        const auto isThere = [&folder] { return ::rmdir(folder.c_str()) < 0 && errno != ENOENT; };
        if (isThere() && isThere()) // as removeSurely() does
            return storageError("The folder cannot be removed", folder, errno);
    }
    return {};
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/lock_files.h"

#include "core/git/files.h"
#include "core/git/running.h"
#include "core/git/spawn.h"
#include "core/git/text.h"

#include <atomic>
#include <cerrno>
#include <cstdio>
#include <ctime>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t mostJournalBytes = std::size_t(64) << 20;
// A folder can vanish between its making and its use: git removes those that are empty.
constexpr int mostTries = 3;

// The very file, whatever it is called. Zero when there is none.
struct Identity {
    dev_t device = 0;
    ino_t inode = 0;
    explicit operator bool() const { return inode != 0; }
    friend bool operator==(const Identity&, const Identity&) = default;
};

Identity identityOf(const fs::path& path)
{
    struct stat status{};
    return ::lstat(path.c_str(), &status) == 0 ? Identity{status.st_dev, status.st_ino} : Identity{};
}

void removeFolder(const fs::path& path)
{
    if (::rmdir(path.c_str()) < 0 && errno != ENOENT && errno != ENOTEMPTY)
        ::rmdir(path.c_str());
}

// The folders that were made for a lock, below refs/heads and its like: git removes empty ones too.
void removeEmptyFoldersAbove(const fs::path& commonDir, const fs::path& lock)
{
    const fs::path below = lock.lexically_relative(commonDir);
    if (below.empty() || *below.begin() != "refs")
        return;
    auto depth = std::distance(below.begin(), below.end());
    for (fs::path folder = lock.parent_path(); depth > 3; folder = folder.parent_path(), --depth)
        if (::rmdir(folder.c_str()) < 0)
            return;
}

std::string agoText(std::time_t seconds)
{
    const auto count = [](std::time_t number, const char* one, const char* many) {
        return counted(std::size_t(number), one, many) + " ago";
    };
    if (seconds < 0)
        return "just now";
    if (seconds < 120)
        return count(seconds, "second", "seconds");
    if (seconds < 7200)
        return count(seconds / 60, "minute", "minutes");
    if (seconds < 172800)
        return count(seconds / 3600, "hour", "hours");
    return count(seconds / 86400, "day", "days");
}

// The journal's folder is free for a look: nobody is making one just now.
Fd lockedFolder(const fs::path& folder, int how)
{
    Fd file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (file.isOpen() && ::flock(file.get(), how) < 0)
        file.close();
    return file;
}

// Whether the process that wrote the journal is gone. A folder without one was never used.
bool isAbandoned(const fs::path& folder)
{
    const Fd journal(::open((folder / "journal").c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    return journal.isOpen() ? ::flock(journal.get(), LOCK_EX | LOCK_NB) == 0 : errno == ENOENT;
}

std::vector<fs::path> abandonedFolders(const fs::path& all)
{
    std::vector<fs::path> folders;
    std::error_code error;
    for (fs::directory_iterator at(all, error); !error && at != fs::directory_iterator(); at.increment(error))
        if (isAbandoned(at->path()))
            folders.push_back(at->path());
    return folders;
}

Result<void> clearOne(const fs::path& commonDir, const fs::path& folder, std::vector<std::string>& lines)
{
    const auto text = readFileBounded(folder / "journal", mostJournalBytes);
    if (!text && text.error().kind != ErrorKind::NotFound)
        return std::unexpected(text.error());
    std::string_view rest = text ? std::string_view(*text) : std::string_view();
    for (std::size_t end, number = 0; (end = rest.find('\0')) != std::string_view::npos; ++number) {
        const fs::path lock(rest.substr(0, end));
        rest.remove_prefix(end + 1);
        const Identity ours = identityOf(folder / std::to_string(number));
        if (ours && identityOf(lock) == ours) {
            if (const int error = removeSurely(lock); error != 0)
                return storageError("A lock that was left behind cannot be removed", lock, error);
            lines.push_back("A lock that was left behind was removed: " + displayText(lock.string(), 500));
        }
        removeEmptyFoldersAbove(commonDir, lock);
    }
    std::error_code error;
    for (fs::directory_iterator at(folder, error); !error && at != fs::directory_iterator(); at.increment(error))
        if (at->path().filename() != "journal")
            removeSurely(at->path());
    // Last: as long as it stands, what it speaks of can be found.
    removeSurely(folder / "journal");
    removeFolder(folder);
    return {};
}

} // namespace

struct LockFiles::Journal {
    fs::path commonDir, folder;
    Fd file;
    std::vector<fs::path> locks;
    std::vector<Identity> taken; // false: not taken
    std::vector<bool> placed;    // our own file is the locked one by now, and must not be written again
    fs::path own(std::size_t number) const { return folder / std::to_string(number); }

    Result<void> write(std::size_t number, std::string_view contents, int how) const
    {
        const Fd out(::open(own(number).c_str(), O_WRONLY | O_CLOEXEC | how, 0666));
        int error = out.isOpen() ? writeAll(out.get(), contents) : errno;
        if (error == 0 && ::fsync(out.get()) < 0)
            error = errno;
        if (error != 0)
            return storageError("The lock cannot be prepared", locks[number], error);
        return {};
    }
};

fs::path locksFolder(const fs::path& commonDir) { return commonDir / "espalier" / "locks"; }

LockFiles::LockFiles(std::unique_ptr<Journal> journal) : m_journal(std::move(journal)) {}
LockFiles::LockFiles(LockFiles&&) noexcept = default;
LockFiles& LockFiles::operator=(LockFiles&& other) noexcept
{
    std::swap(m_journal, other.m_journal);
    return *this;
}

LockFiles::~LockFiles()
{
    if (m_journal)
        (void)release();
}

Result<LockFiles> LockFiles::begin(const fs::path& commonDir)
{
    static std::atomic<unsigned> count;
    const fs::path all = locksFolder(commonDir);
    if (auto made = makeFolders(all); !made)
        return std::unexpected(made.error());
    // Until the journal is held it looks like one whose process is gone; nobody may look meanwhile.
    const Fd shut = lockedFolder(all, LOCK_SH);
    if (!shut.isOpen())
        return storageError("The journal of locks cannot be begun", all, errno);
    auto journal = std::make_unique<Journal>();
    journal->commonDir = commonDir;
    journal->folder = all / (std::to_string(::getpid()) + '-' + std::to_string(++count));
    if (::mkdir(journal->folder.c_str(), 0777) < 0 && errno == EEXIST) {
        // Of a process that had this one's number.
        std::vector<std::string> ignored;
        if (auto cleared = clearOne(commonDir, journal->folder, ignored); !cleared)
            return std::unexpected(cleared.error());
        if (::mkdir(journal->folder.c_str(), 0777) < 0)
            return storageError("The journal of locks cannot be begun", journal->folder, errno);
    }
    const fs::path path = journal->folder / "journal";
    journal->file.set(::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0666));
    if (!journal->file.isOpen() || ::flock(journal->file.get(), LOCK_EX | LOCK_NB) < 0) {
        const int error = errno;
        removeSurely(path);
        removeFolder(journal->folder);
        return storageError("The journal of locks cannot be begun", path, error);
    }
    return LockFiles(std::move(journal));
}

std::size_t LockFiles::count() const { return m_journal->locks.size(); }
bool LockFiles::isTaken(std::size_t number) const { return bool(m_journal->taken[number]); }

Result<void> LockFiles::announce(const std::vector<Wanted>& more)
{
    Journal& journal = *m_journal;
    std::string lines;
    for (const Wanted& wanted : more) {
        journal.locks.push_back(wanted.lock);
        journal.taken.emplace_back();
        journal.placed.push_back(false);
        if (auto made = journal.write(journal.locks.size() - 1, wanted.contents, O_CREAT | O_EXCL); !made)
            return made;
        lines += wanted.lock.native();
        lines += '\0';
    }
    int error = writeAll(journal.file.get(), lines);
    if (error == 0 && ::fsync(journal.file.get()) < 0)
        error = errno;
    if (error != 0)
        return storageError("The journal of locks cannot be written", journal.folder / "journal", error);
    if (auto synced = syncFolder(journal.folder); !synced)
        return synced;
    return syncFolder(journal.folder.parent_path());
}

Result<void> LockFiles::take(std::size_t number)
{
    Journal& journal = *m_journal;
    const fs::path& lock = journal.locks[number];
    if (journal.placed[number]) {
        removeSurely(journal.own(number));
        if (auto made = journal.write(number, {}, O_CREAT | O_EXCL); !made)
            return made;
        journal.placed[number] = false;
    }
    bool cleared = false;
    int error = 0;
    for (int tries = 0; tries < mostTries; ++tries) {
        error = ::link(journal.own(number).c_str(), lock.c_str()) == 0 ? 0 : errno;
        // A file system without hard links: there a lock that is left behind can only be spoken of.
        if (error == EPERM || error == EOPNOTSUPP || error == ENOSYS || error == EMLINK)
            error = ::renameat2(AT_FDCWD, journal.own(number).c_str(), AT_FDCWD, lock.c_str(), RENAME_NOREPLACE) == 0
                        ? 0
                        : errno;
        if (error == 0) {
            journal.taken[number] = identityOf(lock);
            return {};
        }
        if (error == ENOENT) {
            if (auto made = makeFolders(lock.parent_path()); !made)
                return made;
        } else if (error == EEXIST && !cleared) {
            cleared = true;
            if (auto done = clearAbandonedLocks(journal.commonDir); !done)
                return std::unexpected(done.error());
        } else {
            break;
        }
    }
    if (error == EEXIST)
        return lockIsHeld("Another program has locked what is to be changed", lock);
    return storageError("The lock cannot be made", lock, error);
}

Result<void> LockFiles::write(std::size_t number, std::string_view contents)
{
    return m_journal->write(number, contents, O_TRUNC);
}

Result<void> LockFiles::putInPlace(std::size_t number, const fs::path& target)
{
    Journal& journal = *m_journal;
    if (::rename(journal.locks[number].c_str(), target.c_str()) < 0)
        return storageError("The file cannot be put in place", target, errno);
    journal.taken[number] = {};
    journal.placed[number] = true;
    return {};
}

Result<void> LockFiles::letGo(std::size_t number)
{
    Journal& journal = *m_journal;
    // Only what still is ours: the user may have removed the lock by hand, and somebody else have made one since.
    if (journal.taken[number] && identityOf(journal.locks[number]) == journal.taken[number])
        if (const int error = removeSurely(journal.locks[number]); error != 0)
            return storageError("A lock cannot be removed", journal.locks[number], error);
    journal.taken[number] = {};
    removeEmptyFoldersAbove(journal.commonDir, journal.locks[number]);
    return {};
}

Result<void> LockFiles::release()
{
    if (!m_journal)
        return {};
    Journal& journal = *m_journal;
    Result<void> done;
    for (std::size_t number = 0; number < journal.locks.size(); ++number)
        if (auto let = letGo(number); !let && done)
            done = let;
    if (done) {
        for (std::size_t number = 0; number < journal.locks.size(); ++number)
            removeSurely(journal.own(number));
        removeSurely(journal.folder / "journal");
        removeFolder(journal.folder);
    }
    m_journal.reset();
    return done;
}

Result<std::vector<std::string>> clearAbandonedLocks(const fs::path& commonDir)
{
    std::vector<std::string> lines;
    const fs::path all = locksFolder(commonDir);
    const Fd shut = lockedFolder(all, LOCK_EX | LOCK_NB);
    if (!shut.isOpen())
        return lines;
    for (const fs::path& folder : abandonedFolders(all))
        if (auto cleared = clearOne(commonDir, folder, lines); !cleared)
            return std::unexpected(cleared.error());
    return lines;
}

bool hasAbandonedLocks(const fs::path& commonDir)
{
    const fs::path all = locksFolder(commonDir);
    const Fd shut = lockedFolder(all, LOCK_EX | LOCK_NB);
    return shut.isOpen() && !abandonedFolders(all).empty();
}

std::string lockHolder(const fs::path& lock)
{
    std::error_code error;
    const fs::path wanted = fs::canonical(lock, error);
    std::string holder;
    isAnyProcess([&](const fs::path& process) {
        std::error_code unreadable;
        for (fs::directory_iterator files(process / "fd", unreadable); !unreadable && files != fs::directory_iterator();
             files.increment(unreadable)) {
            std::error_code gone;
            if (fs::read_symlink(files->path(), gone) != wanted)
                continue;
            holder =
                "process " + process.filename().string() + " (" + displayText(firstLine(process / "comm"), 40) + ")";
            return true;
        }
        return false;
    });
    return holder;
}

std::unexpected<Error> lockIsHeld(std::string what, const fs::path& lock)
{
    struct stat status{};
    std::string remedy = "Try again";
    if (::lstat(lock.c_str(), &status) == 0) {
        const std::string holder = lockHolder(lock);
        remedy = "The lock was made " + agoText(std::time(nullptr) - status.st_mtim.tv_sec);
        remedy += holder.empty()
                      ? " and no running program has it open: if no git command is at work here, remove that file"
                      : " and " + holder + " has it open: wait until that is done";
    }
    return fail(ErrorKind::Refused, std::move(what), lock.string(), std::move(remedy));
}

} // namespace espalier

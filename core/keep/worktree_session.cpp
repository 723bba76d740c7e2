// SPDX-License-Identifier: MIT
#include "core/keep/worktree_session.h"

#include "core/git/files.h"
#include "core/git/index_file.h"

#include <git2/sys/repository.h>

#include <cerrno>
#include <chrono>
#include <thread>

#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

fs::path workingCopy(const fs::path& gitDir) { return gitDir / "index.espalier"; }

Result<void> copyIndex(const fs::path& from, const fs::path& to)
{
    std::error_code error;
    if (!fs::exists(from, error))
        return {};
    fs::copy_file(from, to, error);
    // With the old time stamp, so that a file edited within the index's own moment is still looked at.
    if (!error)
        fs::last_write_time(to, fs::last_write_time(from, error), error);
    if (error)
        return storageError("The index cannot be copied", to, error.value());
    return {};
}

} // namespace

Result<void> WorktreeSession::removeWorkingCopy(const fs::path& gitDir)
{
    const fs::path copy = workingCopy(gitDir);
    // The second is libgit2's, which locks the copy too while it writes it.
    for (const fs::path& file : {copy, fs::path(copy.string() + ".lock")})
        if (const int error = removeSurely(file); error != 0)
            return storageError("A file that was left behind cannot be removed", file, error);
    return {};
}

Result<LockFiles> WorktreeSession::holdIndex(const Repository& repository)
{
    auto lock = LockFiles::begin(repository.commonDir());
    if (!lock)
        return lock;
    auto locked = lock->announce({{repository.gitDir() / "index.lock", ""}}).and_then([&] { return lock->take(0); });
    // Editors and prompts that show what has changed refresh the index now and then, for a moment.
    constexpr int mostTries = 20;
    for (int tries = 1; tries < mostTries && !locked && locked.error().kind == ErrorKind::Refused; ++tries) {
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
        locked = lock->take(0);
    }
    if (!locked && locked.error().kind == ErrorKind::Refused)
        locked.error().what = "Another program is using the index";
    if (!locked)
        return std::unexpected(locked.error());
    return lock;
}

Result<WorktreeSession> WorktreeSession::begin(const fs::path& path)
{
    auto opened = Repository::open(path);
    if (!opened)
        return std::unexpected(opened.error());
    auto folder = WorktreeFolder::open(opened->workDir());
    if (!folder)
        return std::unexpected(folder.error());
    auto lock = holdIndex(*opened);
    if (!lock)
        return std::unexpected(lock.error());
    const fs::path gitDir = opened->gitDir();
    WorktreeSession session(std::move(*opened), std::move(*folder), std::move(*lock));
    const fs::path copy = workingCopy(gitDir);
    // Whoever holds the lock is alone with the copy: one that is there is of somebody who is gone.
    if (auto removed = removeWorkingCopy(gitDir); !removed)
        return std::unexpected(removed.error());
    session.m_hasCopy = true;
    if (auto copied = copyIndex(gitDir / "index", copy); !copied)
        return std::unexpected(copied.error());
    if (struct stat status{}; ::stat((gitDir / "index").c_str(), &status) == 0)
        session.m_indexTime = status.st_mtim;
    if (auto joined = joinSplitIndex(gitDir, copy); !joined)
        return std::unexpected(joined.error());
    if (git_index_open(out(session.m_index), copy.c_str()) < 0)
        return indexError(gitDir);
    if (git_repository_set_index(session.handle(), session.index()) < 0 ||
        git_index_set_caps(session.index(), GIT_INDEX_CAPABILITY_FROM_OWNER) < 0)
        return libgitError("The index cannot be read", (gitDir / "index").string());
    return session;
}

WorktreeSession::WorktreeSession(WorktreeSession&& other) noexcept
    : m_repository(std::move(other.m_repository))
    , m_folder(std::move(other.m_folder))
    , m_index(std::move(other.m_index))
    , m_indexTime(other.m_indexTime)
    , m_lock(std::move(other.m_lock))
    , m_hasCopy(std::exchange(other.m_hasCopy, false))
{
}

WorktreeSession::~WorktreeSession()
{
    if (m_hasCopy)
        (void)removeWorkingCopy(m_repository.gitDir());
}

bool WorktreeSession::isAsIndexed(const git_index_entry& entry, const struct stat& status) const
{
    const auto isBefore = [](const timespec& a, const timespec& b) {
        return a.tv_sec < b.tv_sec || (a.tv_sec == b.tv_sec && a.tv_nsec < b.tv_nsec);
    };
    // Only the low bits are kept there (gitformat-index(5)).
    return std::uint32_t(status.st_size) == entry.file_size && entry.file_size != 0 &&
           std::uint32_t(status.st_ino) == entry.ino && std::int32_t(status.st_mtim.tv_sec) == entry.mtime.seconds &&
           std::uint32_t(status.st_mtim.tv_nsec) == entry.mtime.nanoseconds &&
           std::int32_t(status.st_ctim.tv_sec) == entry.ctime.seconds &&
           std::uint32_t(status.st_ctim.tv_nsec) == entry.ctime.nanoseconds && isBefore(status.st_mtim, m_indexTime);
}

Result<void> WorktreeSession::publish()
{
    const fs::path gitDir = m_repository.gitDir(), copy = workingCopy(gitDir);
    if (git_index_write(index()) < 0)
        return libgitError("The index cannot be written", copy.string(), "Check the free space and the permissions");
    if (auto synced = syncFile(copy); !synced)
        return synced;
    if (::rename(copy.c_str(), (gitDir / "index").c_str()) < 0)
        return storageError("The index cannot be put in place", gitDir / "index", errno);
    return syncFolder(gitDir);
}

Result<void> WorktreeSession::release()
{
    auto removed = removeWorkingCopy(m_repository.gitDir());
    m_hasCopy = false;
    auto released = m_lock.release();
    return removed ? released : removed;
}

} // namespace espalier

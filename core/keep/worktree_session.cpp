// SPDX-License-Identifier: MIT
#include "core/keep/worktree_session.h"

#include "core/git/index_file.h"

#include <git2/sys/repository.h>

#include <cerrno>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

Result<void> copyIndex(const fs::path& from, const fs::path& to)
{
    std::error_code error;
    fs::remove(to, error);
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

fs::path WorktreeSession::workingCopy(const fs::path& gitDir) { return gitDir / "index.espalier"; }

Result<WorktreeSession> WorktreeSession::begin(const fs::path& path)
{
    auto opened = Repository::open(path);
    if (!opened)
        return std::unexpected(opened.error());
    auto folder = WorktreeFolder::open(opened->workDir());
    if (!folder)
        return std::unexpected(folder.error());
    WorktreeSession session(std::move(*opened), std::move(*folder));
    const fs::path gitDir = session.m_repository.gitDir(), lock = gitDir / "index.lock";
    const int file = ::open(lock.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (file < 0 && errno == EEXIST)
        return fail(ErrorKind::Refused, "Another program is using the index", lock.string(),
                    "Wait until it is done; if no git program is running, remove that file");
    if (file < 0)
        return storageError("The index cannot be locked", lock, errno);
    ::close(file);
    session.m_lock = FileMark::of(lock);
    const fs::path copy = workingCopy(gitDir);
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

WorktreeSession::~WorktreeSession()
{
    if (!m_lock)
        return;
    ::unlink(workingCopy(m_lock->path.parent_path()).c_str());
    removeIfSame(*m_lock);
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
    const fs::path gitDir = m_lock->path.parent_path();
    if (git_index_write(index()) < 0)
        return libgitError("The index cannot be written", gitDir.string(), "Check the free space and the permissions");
    if (::rename(workingCopy(gitDir).c_str(), (gitDir / "index").c_str()) < 0)
        return storageError("The index cannot be put in place", gitDir / "index", errno);
    auto synced = syncFolder(gitDir);
    removeIfSame(*m_lock);
    m_lock.reset();
    return synced;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// A worktree and its index while they are changed. The index is locked against every other program while a session lives,
// worked on as a copy, and put in place whole; the lock stays until HEAD has followed. Private to core/keep.
//
//     auto session = WorktreeSession::begin(path);
//     … git_index_add(session->index(), …) …
//     session->publish();
//     … the refs move …
//     session->release();
#pragma once

#include "core/git/handles.h"
#include "core/git/lock_files.h"
#include "core/keep/worktree_folder.h"

#include <filesystem>

namespace espalier {

class WorktreeSession {
  public:
    // `path` opens the worktree, see Repository::open. Refused when another program holds the index. Errors: Storage.
    static Result<WorktreeSession> begin(const std::filesystem::path& path);
    // The index's lock alone, for whoever holds HEAD and leaves the index as it is: a checkout takes the index before HEAD, and
    // would stop half way when only then it found that it must not go on. Errors as above.
    static Result<LockFiles> holdIndex(const Repository& repository);
    WorktreeSession(WorktreeSession&& other) noexcept;
    WorktreeSession& operator=(WorktreeSession&&) = delete;
    // Lets the index go unchanged unless it was published.
    ~WorktreeSession();

    const Repository& repository() const { return m_repository; }
    git_repository* handle() const { return raw(m_repository); }
    git_index* index() const { return m_index.get(); }
    const WorktreeFolder& folder() const { return m_folder; }
    // Whether a file is the very one that the index saw when it was last written, by what lstat says (git's racy entries
    // count as another). False does not mean that its contents differ.
    bool isAsIndexed(const git_index_entry& entry, const struct stat& status) const;
    // Writes the index and puts it in place, durable; it stays locked. Errors: Storage; the old index then stands.
    Result<void> publish();
    // Lets go of the lock. Errors: Storage, with the lock that stays behind until the next start.
    Result<void> release();

    // Removes what a crash may have left beside the index, besides the lock. Errors: Storage.
    static Result<void> removeWorkingCopy(const std::filesystem::path& gitDir);

  private:
    WorktreeSession(Repository repository, WorktreeFolder folder, LockFiles lock)
        : m_repository(std::move(repository)), m_folder(std::move(folder)), m_lock(std::move(lock))
    {
    }
    Repository m_repository;
    WorktreeFolder m_folder;
    Handle<git_index> m_index;
    timespec m_indexTime{}; // when the index was last written
    LockFiles m_lock;
    bool m_hasCopy = false; // the working copy is there, and this session's
};

} // namespace espalier

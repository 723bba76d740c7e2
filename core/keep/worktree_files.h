// SPDX-License-Identifier: MIT
//
// Moves the files of a worktree and its index. The index is locked against every other program while a session lives,
// worked on as a copy, and put in place whole. Private to core/keep.
//
//     auto session = WorktreeSession::begin(path);
//     checkPaths(session->handle(), session->index(), moves) … moveFiles(*session, moves, from, to, notices)
//     session->publish();
#pragma once

#include "core/keep/storage.h"
#include "core/keep/worktree_paths.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

class WorktreeSession {
  public:
    // `path` opens the worktree, see Repository::open. Refused when another program holds the index. Errors: Storage.
    static Result<WorktreeSession> begin(const std::filesystem::path& path);
    WorktreeSession(WorktreeSession&&) noexcept = default;
    WorktreeSession& operator=(WorktreeSession&&) = delete;
    // Lets the index go unchanged unless it was published.
    ~WorktreeSession();

    const Repository& repository() const { return m_repository; }
    git_repository* handle() const { return raw(m_repository); }
    git_index* index() const { return m_index.get(); }
    const FileMark& lock() const { return *m_lock; }
    // Writes the index, puts it in place, durable, and lets go of the lock. Errors: Storage; the old index then stands.
    Result<void> publish();

    // What a crash may leave beside the index, besides the lock.
    static std::filesystem::path workingCopy(const std::filesystem::path& gitDir);

  private:
    WorktreeSession(Repository repository) : m_repository(std::move(repository)) {}
    Repository m_repository;
    Handle<git_index> m_index;
    std::optional<FileMark> m_lock;
};

// The files of `moves`, which checkPaths() found free, to `to`'s side; the session's index follows. When it fails, some
// files may have moved: finishFiles() takes them back. Errors: Storage, Refused.
Result<void> moveFiles(WorktreeSession& session, const std::vector<PathMove>& moves, const Oid& from, const Oid& to,
                       std::vector<std::string>& notices);

// After a crash or a failure: every file of `moves` that stands on either side, or was being written, goes to `to`'s side
// (`forwards`) or back. What is neither is somebody's work since then: left alone, with a line in `notices`.
Result<void> finishFiles(WorktreeSession& session, const std::vector<PathMove>& moves, const Oid& from, const Oid& to,
                         bool forwards, std::vector<std::string>& notices);

} // namespace espalier

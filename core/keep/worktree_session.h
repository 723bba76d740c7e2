// SPDX-License-Identifier: MIT
//
// A worktree and its index while they are changed. The index is locked against every other program while a session lives,
// worked on as a copy, and put in place whole. Private to core/keep.
//
//     auto session = WorktreeSession::begin(path);
//     … git_index_add(session->index(), …) …
//     session->publish();
#pragma once

#include "core/git/handles.h"
#include "core/keep/storage.h"
#include "core/keep/worktree_folder.h"

#include <filesystem>

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
    const WorktreeFolder& folder() const { return m_folder; }
    // Whether a file is the very one that the index saw when it was last written, by what lstat says (git's racy entries
    // count as another). False does not mean that its contents differ.
    bool isAsIndexed(const git_index_entry& entry, const struct stat& status) const;
    const FileMark& lock() const { return *m_lock; }
    // Writes the index, puts it in place, durable, and lets go of the lock. Errors: Storage; the old index then stands.
    Result<void> publish();

    // What a crash may leave beside the index, besides the lock.
    static std::filesystem::path workingCopy(const std::filesystem::path& gitDir);

  private:
    WorktreeSession(Repository repository, WorktreeFolder folder)
        : m_repository(std::move(repository)), m_folder(std::move(folder))
    {
    }
    Repository m_repository;
    WorktreeFolder m_folder;
    Handle<git_index> m_index;
    timespec m_indexTime{}; // when the index was last written
    std::optional<FileMark> m_lock;
};

} // namespace espalier

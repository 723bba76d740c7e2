// SPDX-License-Identifier: MIT
//
// Lock files as git makes them ("<file>.lock"), made so that none is ever left behind for good. Before a lock is made, a file
// of our own stands below `locksFolder()`, with what the locked file will hold, and a journal says where it goes; the lock is a
// hard link to it. Whoever finds the journal of a process that is gone knows the lock by that link: it is the very same file,
// not one of the same name or number. A journal is in use as long as its process holds it (flock), however that ends.
//
//     auto locks = LockFiles::begin(commonDir);
//     locks->announce({{gitDir / "HEAD.lock", "ref: refs/heads/main\n"}});    // durable, nothing is locked yet
//     locks->take(0);                                                          // Refused: somebody else has it
//     locks->putInPlace(0, gitDir / "HEAD");
//     locks->release();
#pragma once

#include "core/git/error.h"

#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

class LockFiles {
  public:
    struct Wanted {
        std::filesystem::path lock;
        std::string contents; // that the file will have when the lock is put in its place
    };

    // `commonDir` is the repository's, also for locks in the git directory of a linked worktree. Errors: Storage.
    static Result<LockFiles> begin(const std::filesystem::path& commonDir);
    LockFiles(LockFiles&&) noexcept;
    LockFiles& operator=(LockFiles&&) noexcept;
    // As release(), without a word.
    ~LockFiles();

    // The first of `more` has the number that count() gave before. Errors: Storage.
    Result<void> announce(const std::vector<Wanted>& more);
    std::size_t count() const;
    // Makes the lock, and the folders above it. Refused when it is there already, with who has it (see lockIsHeld); what a
    // process of ours that is gone has left is cleared away first. Errors: Storage.
    Result<void> take(std::size_t number);
    bool isTaken(std::size_t number) const;
    // Other contents for a taken lock. Errors: Storage.
    Result<void> write(std::size_t number, std::string_view contents);
    // Renames a taken lock to what it locked, durable but for the folder. Errors: Storage; the lock then still stands.
    Result<void> putInPlace(std::size_t number, const std::filesystem::path& target);
    // Lets go of one; it may be taken again. Errors: Storage.
    Result<void> letGo(std::size_t number);
    // Lets go of everything. Errors: Storage, with the lock that could not be removed: clearAbandonedLocks() will.
    Result<void> release();

  private:
    struct Journal;
    explicit LockFiles(std::unique_ptr<Journal> journal);
    std::unique_ptr<Journal> m_journal;
};

// Where journals are: `commonDir/espalier/locks`.
std::filesystem::path locksFolder(const std::filesystem::path& commonDir);

// Removes the locks of processes of ours that are gone; returns a line for each. Errors: Storage.
Result<std::vector<std::string>> clearAbandonedLocks(const std::filesystem::path& commonDir);
// Whether there is anything to clear; changes nothing.
bool hasAbandonedLocks(const std::filesystem::path& commonDir);

// "process 4711 (git)" that has the file open; empty when none is seen. git closes a lock before it renames it: one that nobody
// has open may still be somebody's.
std::string lockHolder(const std::filesystem::path& lock);
// The error about a lock that somebody else has: how old it is, whether a running program has it open, what to do.
std::unexpected<Error> lockIsHeld(std::string what, const std::filesystem::path& lock);

} // namespace espalier

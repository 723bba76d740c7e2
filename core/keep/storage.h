// SPDX-License-Identifier: MIT
//
// Where files of the program's own are, and who may change a repository. Private to core/keep and core/remotes.
//
//     auto lock = ChangeLock::take(repository);          // one change at a time, whichever process
//     auto done = writeFileAtomically(ownFolder(repository) / "x.json", text);
#pragma once

#include "core/git/files.h"
#include "core/git/repository.h"

#include <filesystem>

namespace espalier {

// `commonDir/espalier`, not necessarily there.
std::filesystem::path ownFolder(const Repository& repository);

// Held while a repository is changed, so that two windows, or a window and a command, do not do so at the same time.
// The operating system lets go of it when the process ends, however it ends.
class ChangeLock {
  public:
    // Refused when another process holds it. Errors: Storage.
    static Result<ChangeLock> take(const Repository& repository);
    // Whether somebody holds it now; changes nothing.
    static bool isHeld(const Repository& repository);
    ChangeLock(ChangeLock&& other) noexcept : m_file(other.m_file) { other.m_file = -1; }
    ChangeLock& operator=(ChangeLock&&) = delete;
    ~ChangeLock();

  private:
    explicit ChangeLock(int file) : m_file(file) {}
    int m_file = -1;
};

} // namespace espalier

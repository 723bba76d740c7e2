// SPDX-License-Identifier: MIT
#include "core/keep/storage.h"

#include <cerrno>

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

fs::path ownFolder(const Repository& repository) { return repository.commonDir() / "espalier"; }

Result<ChangeLock> ChangeLock::take(const Repository& repository)
{
    const fs::path folder = ownFolder(repository);
    if (auto made = makeFolders(folder); !made)
        return std::unexpected(made.error());
    const fs::path path = folder / "lock";
    const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (file < 0)
        return storageError("The lock cannot be taken", path, errno);
    ChangeLock lock(file);
    if (::flock(file, LOCK_EX | LOCK_NB) < 0) {
        if (errno != EWOULDBLOCK)
            return storageError("The lock cannot be taken", path, errno);
        return fail(ErrorKind::Refused, "Another window or command is changing this repository", path.string(),
                    "Wait until it is done and try again");
    }
    return lock;
}

bool ChangeLock::isHeld(const Repository& repository)
{
    const ChangeLock probe(::open((ownFolder(repository) / "lock").c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    return probe.m_file >= 0 && ::flock(probe.m_file, LOCK_SH | LOCK_NB) < 0 && errno == EWOULDBLOCK;
}

ChangeLock::~ChangeLock()
{
    if (m_file >= 0)
        ::close(m_file);
}

} // namespace espalier

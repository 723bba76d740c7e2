// SPDX-License-Identifier: MIT
#include "core/keep/storage.h"

#include <cerrno>
#include <cstring>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

// Closes itself; close() errors matter only where data was written, and there fsync has already spoken.
struct File {
    int number = -1;
    explicit File(int n) : number(n) {}
    ~File()
    {
        if (number >= 0)
            ::close(number);
    }
    File(const File&) = delete;
    File& operator=(const File&) = delete;
};

int writeAll(int file, std::string_view bytes)
{
    while (!bytes.empty()) {
        const ssize_t written = ::write(file, bytes.data(), bytes.size());
        if (written < 0) {
            if (errno == EINTR)
                continue;
            return errno;
        }
        bytes.remove_prefix(std::size_t(written));
    }
    return 0;
}

} // namespace

std::unexpected<Error> storageError(std::string what, const fs::path& on, int errorNumber)
{
    std::string remedy;
    switch (errorNumber) {
    case ENOSPC:
    case EDQUOT:
        what += ": the disk is full";
        remedy = "Free some space and try again";
        break;
    case EFBIG:
        what += ": the file would be larger than this process may write";
        remedy = "Raise the limit on file sizes and try again";
        break;
    case EROFS:
        what += ": the disk is read-only";
        break;
    case EACCES:
    case EPERM:
        what += ": no permission";
        remedy = "Check who owns the folder and who may write to it";
        break;
    case ENOTDIR:
    case EEXIST:
        what += ": a file stands where a folder is needed";
        remedy = "Move that file out of the way and try again";
        break;
    default:
        what += std::string(": ") + ::strerror(errorNumber);
        break;
    }
    return fail(ErrorKind::Storage, std::move(what), on.string(), std::move(remedy));
}

fs::path ownFolder(const Repository& repository) { return repository.commonDir() / "espalier"; }

Result<void> makeFolders(const fs::path& folder)
{
    std::error_code error;
    fs::create_directories(folder, error);
    if (error)
        return storageError("The folder cannot be made", folder, error.value());
    if (!fs::is_directory(folder, error))
        return storageError("The folder cannot be made", folder, ENOTDIR);
    return {};
}

Result<void> syncFolder(const fs::path& folder)
{
    const File file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (file.number < 0)
        return storageError("The folder cannot be opened", folder, errno);
    // Some file systems cannot sync a folder and say EINVAL; there the rename itself is all there is.
    if (::fsync(file.number) < 0 && errno != EINVAL)
        return storageError("The folder cannot be made durable", folder, errno);
    return {};
}

Result<void> writeFileAtomically(const fs::path& file, std::string_view bytes)
{
    const fs::path temporary = file.string() + ".new." + std::to_string(::getpid());
    {
        const File out(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644));
        if (out.number < 0)
            return storageError("The file cannot be written", file, errno);
        int error = writeAll(out.number, bytes);
        if (error == 0 && ::fsync(out.number) < 0)
            error = errno;
        if (error != 0) {
            ::unlink(temporary.c_str());
            return storageError("The file cannot be written", file, error);
        }
    }
    if (::rename(temporary.c_str(), file.c_str()) < 0) {
        const int error = errno;
        ::unlink(temporary.c_str());
        return storageError("The file cannot be put in place", file, error);
    }
    return syncFolder(file.parent_path());
}

Result<std::string> readFileBounded(const fs::path& path, std::size_t limit)
{
    // O_NONBLOCK: a pipe in the place of the file must not make the program wait for ever.
    const File file(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    if (file.number < 0) {
        if (errno == ENOENT)
            return fail(ErrorKind::NotFound, "The file does not exist", path.string());
        return storageError("The file cannot be read", path, errno);
    }
    struct stat status{};
    if (::fstat(file.number, &status) < 0)
        return storageError("The file cannot be read", path, errno);
    if (!S_ISREG(status.st_mode))
        return fail(ErrorKind::Broken, "This is not a plain file", path.string());
    if (std::uint64_t(status.st_size) > limit)
        return fail(ErrorKind::Broken, "The file is too large", path.string());
    std::string bytes;
    bytes.resize(std::size_t(status.st_size));
    std::size_t have = 0;
    while (have < bytes.size()) {
        const ssize_t got = ::read(file.number, bytes.data() + have, bytes.size() - have);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return storageError("The file cannot be read", path, errno);
        if (got == 0)
            break;
        have += std::size_t(got);
    }
    bytes.resize(have);
    return bytes;
}

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
    const ChangeLock probe(::open((ownFolder(repository) / "lock").c_str(), O_RDONLY | O_CLOEXEC));
    return probe.m_file >= 0 && ::flock(probe.m_file, LOCK_SH | LOCK_NB) < 0 && errno == EWOULDBLOCK;
}

ChangeLock::~ChangeLock()
{
    if (m_file >= 0)
        ::close(m_file);
}

std::optional<FileMark> FileMark::of(const fs::path& path)
{
    struct stat status{};
    if (::lstat(path.c_str(), &status) < 0)
        return std::nullopt;
    return FileMark{path, std::uint64_t(status.st_dev), std::uint64_t(status.st_ino)};
}

bool removeIfSame(const FileMark& mark)
{
    const auto now = FileMark::of(mark.path);
    return now && now->device == mark.device && now->inode == mark.inode && ::unlink(mark.path.c_str()) == 0;
}

} // namespace espalier

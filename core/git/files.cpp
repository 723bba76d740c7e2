// SPDX-License-Identifier: MIT
#include "core/git/files.h"

#include "core/git/spawn.h"

#include <atomic>
#include <cctype>
#include <cerrno>
#include <csignal>
#include <cstdlib>
#include <cstring>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

int removeSurely(const fs::path& path)
{
    for (int left = 2; left > 0; --left)
        if (::unlink(path.c_str()) == 0 || errno == ENOENT)
            return 0;
    return errno;
}

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
    case EISDIR:
        what += ": a folder stands where a file is needed";
        remedy = "Move that folder out of the way and try again";
        break;
    default:
        what += std::string(": ") + ::strerror(errorNumber);
        break;
    }
    return fail(ErrorKind::Storage, std::move(what), on.string(), std::move(remedy));
}

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
    const Fd file(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (file.get() < 0)
        return storageError("The folder cannot be opened", folder, errno);
    // Some file systems cannot sync a folder and say EINVAL; there the rename itself is all there is.
    if (::fsync(file.get()) < 0 && errno != EINVAL)
        return storageError("The folder cannot be made durable", folder, errno);
    return {};
}

Result<void> syncFile(const fs::path& path)
{
    const Fd file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
    if (file.get() < 0 || ::fsync(file.get()) < 0)
        return storageError("The file cannot be made durable", path, errno);
    return {};
}

namespace {

// Whether it is "<file>.new.<process>.<number>" of a process that is gone.
bool isLeftTemporary(const fs::path& file)
{
    const std::string name = file.filename().string();
    const std::size_t mark = name.rfind(".new.");
    const pid_t process = mark == std::string::npos ? 0 : pid_t(std::strtol(name.c_str() + mark + 5, nullptr, 10));
    return process > 0 && process != ::getpid() && ::kill(process, 0) < 0 && errno == ESRCH;
}

std::vector<fs::path> leftTemporaries(const fs::path& folder)
{
    std::vector<fs::path> left;
    std::error_code error;
    for (fs::directory_iterator at(folder, error); !error && at != fs::directory_iterator(); at.increment(error))
        if (isLeftTemporary(at->path()))
            left.push_back(at->path());
    return left;
}

} // namespace

Result<void> removeLeftTemporaries(const fs::path& folder)
{
    for (const fs::path& file : leftTemporaries(folder))
        if (const int error = removeSurely(file); error != 0)
            return storageError("A file that was left behind cannot be removed", file, error);
    return {};
}

bool hasLeftTemporaries(const fs::path& folder) { return !leftTemporaries(folder).empty(); }

Result<void> writeFileAtomically(const fs::path& file, std::string_view bytes, const fs::path& aside)
{
    // Two threads may write the same file; a number tells their temporary ones apart.
    static std::atomic<unsigned> count;
    const fs::path place = aside.empty() ? file : aside / file.filename();
    const fs::path temporary = place.string() + ".new." + std::to_string(::getpid()) + '.' + std::to_string(++count);
    {
        const Fd out(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644));
        if (out.get() < 0)
            return storageError("The file cannot be written", file, errno);
        int error = writeAll(out.get(), bytes);
        if (error == 0 && ::fsync(out.get()) < 0)
            error = errno;
        if (error != 0) {
            removeSurely(temporary);
            return storageError("The file cannot be written", file, error);
        }
    }
    if (::rename(temporary.c_str(), file.c_str()) < 0) {
        const int error = errno;
        removeSurely(temporary);
        return storageError("The file cannot be put in place", file, error);
    }
    return syncFolder(file.parent_path());
}

Result<std::string> readOpenFile(int file, const fs::path& path, std::size_t limit)
{
    struct stat status{};
    if (::fstat(file, &status) < 0)
        return storageError("The file cannot be read", path, errno);
    if (!S_ISREG(status.st_mode))
        return fail(ErrorKind::Broken, "This is not a plain file", path.string(), "Move it out of the way");
    if (std::uint64_t(status.st_size) > limit)
        return fail(ErrorKind::Broken, "The file is too large", path.string());
    std::string bytes;
    bytes.resize(std::size_t(status.st_size));
    std::size_t have = 0;
    while (have < bytes.size()) {
        const ssize_t got = ::read(file, bytes.data() + have, bytes.size() - have);
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

Result<std::string> readFileBounded(const fs::path& path, std::size_t limit)
{
    // O_NONBLOCK: a pipe in the place of the file must not make the program wait for ever.
    const Fd file(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    if (file.get() < 0) {
        if (errno == ENOENT)
            return fail(ErrorKind::NotFound, "The file does not exist", path.string());
        return storageError("The file cannot be read", path, errno);
    }
    return readOpenFile(file.get(), path, limit);
}

std::string firstLine(const fs::path& file)
{
    auto text = readFileBounded(file, 1 << 16);
    std::string line = text ? text->substr(0, text->find('\n')) : std::string();
    while (!line.empty() && std::isspace(static_cast<unsigned char>(line.back())))
        line.pop_back();
    return line;
}

} // namespace espalier

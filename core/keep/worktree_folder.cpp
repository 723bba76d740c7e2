// SPDX-License-Identifier: MIT
#include "core/keep/worktree_folder.h"

#include "core/git/files.h"
#include "core/git/objects.h"
#include "core/git/text.h"
#include "core/tree/names.h"

#include <cerrno>
#include <cstdio>
#include <vector>

#include <dirent.h>
#include <fcntl.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr int openFolder = O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC;
// No file system lets a path be longer than some thousand bytes.
constexpr int deepest = 2048;

bool meansNothingThere(int error) { return error == ENOENT || error == ENOTDIR || error == ELOOP; }

std::unexpected<Error> inTheWay(std::string_view path)
{
    return fail(ErrorKind::Refused, "Something else was put there just now", displayText(path, 300),
                "Move it out of the way, then try again");
}

// A name of ours beside a file; never longer than the file systems allow, whatever the file is called.
std::string ownName(std::string_view kind, std::string_view name)
{
    return ".espalier-" + std::string(kind) + '-' + hashObject(ObjectType::Blob, name).hex().substr(0, 16);
}

// Renames within a folder and never over anything: errno is EEXIST then. 0 when done.
int renameInto(const Fd& folder, const std::string& from, const std::string& to)
{
    if (::renameat2(folder.get(), from.c_str(), folder.get(), to.c_str(), RENAME_NOREPLACE) == 0)
        return 0;
    if (errno != EINVAL && errno != ENOSYS)
        return errno;
    // A file system that cannot: a second name is never made over anything either. (Folders have none.)
    if (::linkat(folder.get(), from.c_str(), folder.get(), to.c_str(), 0) < 0)
        return errno;
    return ::unlinkat(folder.get(), from.c_str(), 0) == 0 ? 0 : errno;
}

// The names in an open folder.
Result<std::vector<std::string>> namesIn(const Fd& folder, const fs::path& path)
{
    const int copy = ::openat(folder.get(), ".", openFolder);
    DIR* const listing = copy < 0 ? nullptr : ::fdopendir(copy);
    if (!listing) {
        const int error = errno;
        Fd(copy).close();
        return storageError("The folder cannot be read", path, error);
    }
    std::vector<std::string> names;
    while (const dirent* entry = ::readdir(listing))
        if (const std::string_view name = entry->d_name; name != "." && name != "..")
            names.emplace_back(name);
    ::closedir(listing);
    return names;
}

} // namespace

Result<WorktreeFolder> WorktreeFolder::open(const fs::path& root)
{
    Fd folder(::open(root.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (!folder.isOpen())
        return storageError("The worktree cannot be opened", root, errno);
    return WorktreeFolder(std::move(folder), root);
}

auto WorktreeFolder::placeOf(std::string_view path, Missing missing) const -> Result<std::optional<Place>>
{
    if (!isSafePath(path))
        return fail(ErrorKind::Refused, "No worktree may hold such a path", displayText(path, 300),
                    "Whoever made the commit may mean harm; look at it with git ls-tree");
    Place place{Fd(::openat(m_root.get(), ".", openFolder)), {}};
    if (!place.folder.isOpen())
        return storageError("The worktree cannot be opened", m_path, errno);
    std::string_view rest = path;
    for (std::size_t slash = rest.find('/'); slash != std::string_view::npos; slash = rest.find('/')) {
        const std::string name(rest.substr(0, slash));
        rest.remove_prefix(slash + 1);
        if (missing == Missing::IsMade && ::mkdirat(place.folder.get(), name.c_str(), 0777) < 0 && errno != EEXIST)
            return storageError("The folder cannot be made", shown(path), errno);
        Fd below(::openat(place.folder.get(), name.c_str(), openFolder));
        if (!below.isOpen() && missing == Missing::IsNothing && meansNothingThere(errno))
            return std::nullopt;
        if (!below.isOpen() && meansNothingThere(errno))
            return inTheWay(path.substr(0, path.size() - rest.size() - 1));
        if (!below.isOpen())
            return storageError("The folder cannot be opened", shown(path), errno);
        place.folder = std::move(below);
    }
    place.name = rest;
    return place;
}

auto WorktreeFolder::placeToWrite(std::string_view path) const -> Result<Place>
{
    auto place = placeOf(path, Missing::IsMade);
    if (!place)
        return std::unexpected(place.error());
    return std::move(**place);
}

Result<std::optional<struct stat>> WorktreeFolder::look(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    struct stat status{};
    if (!*place)
        return std::nullopt;
    if (::fstatat((*place)->folder.get(), (*place)->name.c_str(), &status, AT_SYMLINK_NOFOLLOW) == 0)
        return status;
    if (meansNothingThere(errno))
        return std::nullopt;
    return storageError("The file cannot be looked at", shown(path), errno);
}

Result<std::string> WorktreeFolder::readLink(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    if (!*place)
        return fail(ErrorKind::NotFound, "The file does not exist", displayText(path, 300));
    std::string target(256, '\0');
    for (;;) {
        const ssize_t length =
            ::readlinkat((*place)->folder.get(), (*place)->name.c_str(), target.data(), target.size());
        if (length < 0)
            return storageError("The symlink cannot be read", shown(path), errno);
        if (std::size_t(length) < target.size()) {
            target.resize(std::size_t(length));
            return target;
        }
        target.resize(target.size() * 2);
    }
}

Result<std::string> WorktreeFolder::readFile(std::string_view path, std::size_t limit) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    if (!*place)
        return fail(ErrorKind::NotFound, "The file does not exist", displayText(path, 300));
    const Fd file(
        ::openat((*place)->folder.get(), (*place)->name.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
    if (!file.isOpen())
        return storageError("The file cannot be read", shown(path), errno);
    return readOpenFile(file.get(), shown(path), limit);
}

Result<struct stat> WorktreeFolder::writeFile(std::string_view path, std::string_view bytes, bool executable) const
{
    const auto place = placeToWrite(path);
    if (!place)
        return std::unexpected(place.error());
    const std::string unfinished = ownName("new", place->name);
    const auto giveUp = [&](int error) {
        if (::unlinkat(place->folder.get(), unfinished.c_str(), 0) < 0)
            ::unlinkat(place->folder.get(), unfinished.c_str(), 0);
        return storageError("The file cannot be written", shown(path), error);
    };
    struct stat written{};
    {
        const Fd file(::openat(place->folder.get(), unfinished.c_str(),
                               O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, executable ? 0777 : 0666));
        if (!file.isOpen())
            return storageError("The file cannot be written", shown(path), errno);
        if (const int error = writeAll(file.get(), bytes); error != 0)
            return giveUp(error);
        if (::fstat(file.get(), &written) < 0)
            return giveUp(errno);
    }
    const int error = renameInto(place->folder, unfinished, place->name);
    if (error == 0)
        return written;
    auto failure = giveUp(error);
    return error == EEXIST ? inTheWay(path) : failure;
}

Result<void> WorktreeFolder::removeUnfinished(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    if (!*place || ::unlinkat((*place)->folder.get(), ownName("new", (*place)->name).c_str(), 0) == 0 ||
        meansNothingThere(errno))
        return {};
    return storageError("A file that was left behind cannot be removed", shown(path), errno);
}

std::string WorktreeFolder::asideOf(std::string_view path)
{
    const std::size_t name = path.rfind('/') + 1; // 0 when there is no folder
    return std::string(path.substr(0, name)) + ownName("old", path.substr(name));
}

Result<void> WorktreeFolder::putAside(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    const int error =
        *place ? renameInto((*place)->folder, (*place)->name, ownName("old", (*place)->name)) : int(ENOENT);
    if (error == 0 || meansNothingThere(error))
        return {};
    return error == EEXIST ? inTheWay(asideOf(path)) : storageError("The file cannot be put aside", shown(path), error);
}

Result<bool> WorktreeFolder::putBack(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    const int error =
        *place ? renameInto((*place)->folder, ownName("old", (*place)->name), (*place)->name) : int(ENOENT);
    if (error == 0 || error == EEXIST)
        return error == 0;
    if (meansNothingThere(error))
        return true;
    return storageError("The file cannot be put back", shown(path), error);
}

Result<void> WorktreeFolder::writeLink(std::string_view path, const std::string& target) const
{
    const auto place = placeToWrite(path);
    if (!place)
        return std::unexpected(place.error());
    if (::symlinkat(target.c_str(), place->folder.get(), place->name.c_str()) == 0)
        return {};
    if (errno == EEXIST)
        return inTheWay(path);
    return storageError("The symlink cannot be written", shown(path), errno);
}

Result<void> WorktreeFolder::makeFolder(std::string_view path) const
{
    const auto place = placeToWrite(path);
    if (!place)
        return std::unexpected(place.error());
    if (::mkdirat(place->folder.get(), place->name.c_str(), 0777) == 0)
        return {};
    if (errno != EEXIST)
        return storageError("The folder cannot be made", shown(path), errno);
    const Fd folder(::openat(place->folder.get(), place->name.c_str(), openFolder));
    return folder.isOpen() ? Result<void>() : inTheWay(path);
}

Result<void> WorktreeFolder::remove(std::string_view path) const
{
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    if (!*place || ::unlinkat((*place)->folder.get(), (*place)->name.c_str(), 0) == 0 || meansNothingThere(errno))
        return {};
    if (errno == EISDIR || errno == EPERM)
        return inTheWay(path);
    return storageError("The file cannot be removed", shown(path), errno);
}

Result<bool> WorktreeFolder::removeEmptyFolder(std::string_view path) const { return removeEmptyFolder(path, 0); }

Result<bool> WorktreeFolder::removeEmptyFolder(std::string_view path, int depth) const
{
    if (depth > deepest)
        return false;
    std::vector<std::string> names;
    {
        // Not held while the folders below are looked at: a process may open few files at a time.
        const auto place = placeOf(path, Missing::IsNothing);
        if (!place)
            return std::unexpected(place.error());
        if (!*place || ::unlinkat((*place)->folder.get(), (*place)->name.c_str(), AT_REMOVEDIR) == 0 || errno == ENOENT)
            return true;
        const Fd folder(::openat((*place)->folder.get(), (*place)->name.c_str(), openFolder));
        if (!folder.isOpen())
            return false;
        auto listed = namesIn(folder, shown(path));
        if (!listed)
            return std::unexpected(listed.error());
        names = std::move(*listed);
        // One file is enough to keep the whole, empty folders beside it too.
        for (const std::string& name : names) {
            struct stat status{};
            if (::fstatat(folder.get(), name.c_str(), &status, AT_SYMLINK_NOFOLLOW) < 0 || !S_ISDIR(status.st_mode) ||
                !isSafeName(name))
                return false;
        }
    }
    for (const std::string& name : names) {
        const auto gone = removeEmptyFolder(std::string(path) + '/' + name, depth + 1);
        if (!gone || !*gone)
            return gone;
    }
    const auto place = placeOf(path, Missing::IsNothing);
    if (!place)
        return std::unexpected(place.error());
    return !*place || ::unlinkat((*place)->folder.get(), (*place)->name.c_str(), AT_REMOVEDIR) == 0;
}

void WorktreeFolder::removeEmptyParents(std::string_view path) const
{
    for (std::size_t slash = path.rfind('/'); slash != std::string_view::npos; slash = path.rfind('/')) {
        path = path.substr(0, slash);
        const auto place = placeOf(path, Missing::IsNothing);
        if (!place || !*place)
            return;
        // A disk that fails once may not fail twice; a folder that stays would not be what the commit says.
        for (int left = 2; ::unlinkat((*place)->folder.get(), (*place)->name.c_str(), AT_REMOVEDIR) < 0;)
            if (errno == ENOTEMPTY || errno == EEXIST || --left == 0)
                return;
    }
}

} // namespace espalier

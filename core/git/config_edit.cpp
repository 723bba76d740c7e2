// SPDX-License-Identifier: MIT
#include "core/git/config_edit.h"

#include "core/git/files.h"
#include "core/git/lock_files.h"

#include <atomic>
#include <cerrno>

#include <sys/stat.h>
#include <unistd.h>

namespace espalier {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t mostBytes = std::size_t(64) << 20;

// The copy that libgit2 edits, and its own lock on it.
struct Copy {
    fs::path path;
    ~Copy()
    {
        removeSurely(path);
        removeSurely(path.string() + ".lock");
    }
};

} // namespace

Result<void> editConfig(const Repository& repository, const std::function<Result<void>(git_config*)>& edit)
{
    static std::atomic<unsigned> count;
    const fs::path config = repository.commonDir() / "config";
    auto lock = LockFiles::begin(repository.commonDir());
    if (!lock)
        return std::unexpected(lock.error());
    auto locked = lock->announce({{config.string() + ".lock", ""}}).and_then([&] { return lock->take(0); });
    if (!locked && locked.error().kind == ErrorKind::Refused)
        locked.error().what = "Another program is changing the repository's settings";
    if (!locked)
        return locked;
    const auto before = readFileBounded(config, mostBytes);
    if (!before && before.error().kind != ErrorKind::NotFound)
        return std::unexpected(before.error());
    // A name that removeLeftTemporaries() knows.
    const Copy copy{repository.commonDir() / "espalier" /
                    ("config.new." + std::to_string(::getpid()) + '.' + std::to_string(++count))};
    if (auto written = writeFileAtomically(copy.path, before ? *before : std::string()); !written)
        return written;
    {
        Handle<git_config> handle;
        if (git_config_open_ondisk(out(handle), copy.path.c_str()) < 0)
            return libgitError("The repository's settings cannot be read", config.string());
        if (auto edited = edit(handle.get()); !edited)
            return edited;
    }
    const auto after = readFileBounded(copy.path, mostBytes);
    if (!after)
        return std::unexpected(after.error());
    if (before && *after == *before)
        return lock->release();
    if (auto written = lock->write(0, *after); !written)
        return written;
    // It may be kept from others' eyes.
    if (struct stat status{}; ::stat(config.c_str(), &status) == 0)
        if (::chmod((config.string() + ".lock").c_str(), status.st_mode & 07777) < 0)
            return storageError("The repository's settings cannot be written", config, errno);
    if (auto placed = lock->putInPlace(0, config); !placed)
        return placed;
    if (auto synced = syncFolder(config.parent_path()); !synced)
        return synced;
    return lock->release();
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "tests/faults/fault_scene.h"

#include <cerrno>
#include <cstdio>
#include <cstring>

#include <sched.h>
#include <sys/mount.h>
#include <sys/statvfs.h>

namespace espalier::test {

namespace fs = std::filesystem;

SmallDisk::SmallDisk(fs::path folder) : m_folder(std::move(folder))
{
    fs::create_directories(m_folder);
    // In a mount table of this process's own, which goes with it.
    if (::unshare(CLONE_NEWNS) < 0 || ::mount(nullptr, "/", nullptr, MS_REC | MS_PRIVATE, nullptr) < 0 ||
        ::mount("none", m_folder.c_str(), "tmpfs", 0, "size=64m") < 0)
        m_reason = std::string("no disk of its own can be mounted here: ") + std::strerror(errno);
}

SmallDisk::~SmallDisk()
{
    if (isThere())
        ::umount2(m_folder.c_str(), MNT_DETACH);
}

void SmallDisk::setRoom(std::optional<std::size_t> room)
{
    struct statvfs now{};
    ::statvfs(m_folder.c_str(), &now);
    const std::size_t used = std::size_t(now.f_blocks - now.f_bfree) * now.f_frsize;
    const std::size_t size = room ? used + *room : std::size_t(64) << 20;
    const std::string options = "size=" + std::to_string(size);
    if (::mount(nullptr, m_folder.c_str(), nullptr, MS_REMOUNT, options.c_str()) < 0)
        std::perror("remount");
}

} // namespace espalier::test

// SPDX-License-Identifier: MIT
//
// A library that stands between a program and the file system (LD_PRELOAD). It counts the calls that change something below
// a folder, in the program and in all that it starts, and lets one of them go wrong. All is told by the environment:
//
//     FAULTS_BELOW   the folder; without it nothing is counted
//     FAULTS_STATE   a file outside of it, at least as long as a State, by which all processes count together
//     FAULTS_AT      the number of the call, from 1; 0: only count
//     FAULTS_KIND    what becomes of that call:
//                      fail:ERRNO   it fails
//                      tear:ERRNO   half of what it writes is written, then it fails (what writes nothing: fails)
//                      full         it and all after it that need space fail with ENOSPC, writes when half is written
//                      broken       it and all after it fail with EIO
//                      kill         the program ends before it, as in a power cut
//                      cut          half of what it writes is written, then the program ends
//                      run          FAULTS_RUN, a shell's command line, is run to its end before it
//     FAULTS_LOG     a file that gets a line a call: number, name, path, and the second path
//     FAULTS_ROOT    set by itself: the process group that ends when one of its programs is killed
//     FAULTS_CLOCK   seconds since 1970: what the clock on the wall says
#include "tests/faults/fault_state.h"

#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <filesystem>
#include <string>
#include <string_view>

#include <dlfcn.h>
#include <fcntl.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/uio.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ; // NOLINT: POSIX names it so

namespace {

using espalier::test::FaultState;

// What a call needs to go well: space on the disk, or only that the disk works.
enum class Needs { Space, Nothing };
enum class Verdict { Go, Fail, Tear, CutShort };

const char* variable(const char* name)
{
    const char* value = std::getenv(name);
    return value && *value ? value : nullptr;
}

struct Settings {
    const char* below = variable("FAULTS_BELOW");
    const char* log = variable("FAULTS_LOG");
    const char* run = variable("FAULTS_RUN");
    std::string_view kind = variable("FAULTS_KIND") ? variable("FAULTS_KIND") : "";
    unsigned at = variable("FAULTS_AT") ? unsigned(std::atoi(variable("FAULTS_AT"))) : 0;
    FaultState* state = nullptr;

    Settings()
    {
        const char* path = variable("FAULTS_STATE");
        const int file = below && path ? int(::syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC)) : -1;
        if (file < 0)
            return;
        void* const shared = reinterpret_cast<void*>(
            ::syscall(SYS_mmap, nullptr, sizeof(FaultState), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0));
        ::syscall(SYS_close, file);
        if (shared != MAP_FAILED)
            state = static_cast<FaultState*>(shared);
        if (!variable("FAULTS_ROOT"))
            ::setenv("FAULTS_ROOT", std::to_string(::getpgrp()).c_str(), 1);
    }
};

Settings& settings()
{
    static Settings all;
    return all;
}

// Before any program is started from here, so that all know their root.
[[gnu::constructor]] void begin() { settings(); }

thread_local bool busy = false; // what this library does itself is not counted

int errnoNamed(std::string_view name)
{
    return name == "ENOSPC" ? ENOSPC : name == "EACCES" ? EACCES : name == "EROFS" ? EROFS : EIO;
}

// A power cut ends everything: the program that was started, and what it started.
[[noreturn]] void endAll()
{
    if (const char* root = variable("FAULTS_ROOT"))
        ::kill(-std::atoi(root), SIGKILL);
    ::kill(0, SIGKILL);
    ::raise(SIGKILL);
    std::abort();
}

void runAside()
{
    std::string shell = "sh", option = "-c", line = settings().run ? settings().run : ":";
    char* argv[] = {shell.data(), option.data(), line.data(), nullptr};
    std::string kept;
    char* environment[512] = {};
    std::size_t count = 0;
    for (char** at = environ; *at && count < 500; ++at)
        if (!std::string_view(*at).starts_with("LD_PRELOAD=") && !std::string_view(*at).starts_with("FAULTS_"))
            environment[count++] = *at;
    pid_t pid = -1;
    if (::posix_spawnp(&pid, "sh", nullptr, nullptr, argv, environment) == 0)
        while (::waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {
        }
}

std::string folderOf(int folder)
{
    char link[64], path[4096];
    if (folder == AT_FDCWD)
        std::snprintf(link, sizeof link, "/proc/self/cwd");
    else
        std::snprintf(link, sizeof link, "/proc/self/fd/%d", folder);
    const ssize_t length = ::readlink(link, path, sizeof path);
    return length > 0 ? std::string(path, std::size_t(length)) : std::string();
}

std::string fullPath(int folder, const char* path)
{
    if (!path)
        return {};
    std::filesystem::path full = path;
    if (full.is_relative())
        full = folderOf(folder) / full;
    return full.lexically_normal().string();
}

bool isBelow(std::string_view path)
{
    const std::string_view below = settings().below;
    return path.starts_with(below) && (path.size() == below.size() || path[below.size()] == '/');
}

void writeLog(unsigned number, const char* name, const std::string& path, const std::string& second)
{
    if (!settings().log)
        return;
    const std::string line = std::to_string(number) + '\t' + name + '\t' + path + '\t' + second + '\n';
    const int file = int(::syscall(SYS_openat, AT_FDCWD, settings().log, O_WRONLY | O_APPEND | O_CREAT, 0644));
    if (file >= 0) {
        (void)!::syscall(SYS_write, file, line.data(), line.size());
        ::syscall(SYS_close, file);
    }
}

Verdict judge(const char* name, Needs needs, const std::string& path, const std::string& second = {})
{
    Settings& all = settings();
    if (!all.state || (!isBelow(path) && !(!second.empty() && isBelow(second))))
        return Verdict::Go;
    const unsigned number = all.state->calls.fetch_add(1) + 1;
    writeLog(number, name, path, second);
    if (all.at == 0 || number < all.at)
        return Verdict::Go;
    if (number > all.at) {
        errno = all.kind == "full" ? ENOSPC : EIO;
        return all.kind == "broken"                          ? Verdict::Fail
               : all.kind == "full" && needs == Needs::Space ? Verdict::Tear
                                                             : Verdict::Go;
    }
    all.state->fired.store(1);
    if (all.kind == "kill")
        endAll();
    if (all.kind == "cut")
        return Verdict::CutShort;
    if (all.kind == "run") {
        runAside();
        return Verdict::Go;
    }
    errno =
        all.kind == "full" ? ENOSPC : errnoNamed(all.kind.substr(std::min(all.kind.find(':') + 1, all.kind.size())));
    if (all.kind == "full")
        return needs == Needs::Space ? Verdict::Tear : Verdict::Go;
    return all.kind.starts_with("tear") ? Verdict::Tear : Verdict::Fail;
}

template <typename Function> Function* next(const char* name)
{
    return reinterpret_cast<Function*>(::dlsym(RTLD_NEXT, name));
}

// Whether the call is to be made. For one that writes nothing, a tear is a failure and a cut a kill.
bool mayGo(const char* name, Needs needs, const std::string& path, const std::string& second = {})
{
    const Verdict verdict = judge(name, needs, path, second);
    if (verdict == Verdict::CutShort)
        endAll();
    return verdict == Verdict::Go;
}

// Whether an open makes or empties a file; only to be opened for writing changes nothing yet.
bool changes(int flags) { return (flags & (O_CREAT | O_TRUNC)) != 0; }

} // namespace

// Calls the libc's own function of the same name; `...` are its arguments.
#define FAULTS_NEXT(name, ...) next<decltype(name)>(#name)(__VA_ARGS__)
// `error` is returned when the call is to fail; errno is set.
#define FAULTS_GUARD(name, needs, error, ...)                                                                          \
    if (!busy) {                                                                                                       \
        busy = true;                                                                                                   \
        const bool go = mayGo(name, needs, __VA_ARGS__);                                                               \
        const int code = errno;                                                                                        \
        busy = false;                                                                                                  \
        if (!go) {                                                                                                     \
            errno = code;                                                                                              \
            return error;                                                                                              \
        }                                                                                                              \
    }

extern "C" {

#define FAULTS_OPEN(name)                                                                                              \
    int name(const char* path, int flags, ...)                                                                         \
    {                                                                                                                  \
        va_list more;                                                                                                  \
        va_start(more, flags);                                                                                         \
        const mode_t mode = (flags & (O_CREAT | O_TMPFILE)) ? va_arg(more, mode_t) : 0;                                \
        va_end(more);                                                                                                  \
        if (changes(flags))                                                                                            \
            FAULTS_GUARD("open", Needs::Space, -1, fullPath(AT_FDCWD, path))                                           \
        return next<int(const char*, int, ...)>(#name)(path, flags, mode);                                             \
    }
FAULTS_OPEN(open)
FAULTS_OPEN(open64)
#define FAULTS_OPENAT(name)                                                                                            \
    int name(int folder, const char* path, int flags, ...)                                                             \
    {                                                                                                                  \
        va_list more;                                                                                                  \
        va_start(more, flags);                                                                                         \
        const mode_t mode = (flags & (O_CREAT | O_TMPFILE)) ? va_arg(more, mode_t) : 0;                                \
        va_end(more);                                                                                                  \
        if (changes(flags))                                                                                            \
            FAULTS_GUARD("open", Needs::Space, -1, fullPath(folder, path))                                             \
        return next<int(int, const char*, int, ...)>(#name)(folder, path, flags, mode);                                \
    }
FAULTS_OPENAT(openat)
FAULTS_OPENAT(openat64)
int creat(const char* path, mode_t mode)
{
    FAULTS_GUARD("open", Needs::Space, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(creat, path, mode);
}
#define FAULTS_FOPEN(name)                                                                                             \
    FILE* name(const char* path, const char* mode)                                                                     \
    {                                                                                                                  \
        if (mode && *mode != 'r')                                                                                      \
            FAULTS_GUARD("open", Needs::Space, nullptr, fullPath(AT_FDCWD, path))                                      \
        return next<FILE*(const char*, const char*)>(#name)(path, mode);                                               \
    }
FAULTS_FOPEN(fopen)
FAULTS_FOPEN(fopen64)

// What writes bytes: `half` writes the half of them.
#define FAULTS_WRITE(name, file, all, half)                                                                            \
    if (!busy) {                                                                                                       \
        busy = true;                                                                                                   \
        const Verdict verdict = judge(name, Needs::Space, folderOf(file));                                             \
        const int code = errno;                                                                                        \
        if (verdict == Verdict::Tear || verdict == Verdict::CutShort)                                                  \
            (void)!(half);                                                                                             \
        if (verdict == Verdict::CutShort)                                                                              \
            endAll();                                                                                                  \
        busy = false;                                                                                                  \
        if (verdict != Verdict::Go) {                                                                                  \
            errno = code;                                                                                              \
            return -1;                                                                                                 \
        }                                                                                                              \
    }                                                                                                                  \
    return all;

ssize_t write(int file, const void* bytes,
              size_t count){FAULTS_WRITE("write", file, FAULTS_NEXT(write, file, bytes, count),
                                         ::syscall(SYS_write, file, bytes, count / 2))} ssize_t
    pwrite(int file, const void* bytes, size_t count,
           off_t at){FAULTS_WRITE("write", file, FAULTS_NEXT(pwrite, file, bytes, count, at),
                                  ::syscall(SYS_pwrite64, file, bytes, count / 2, at))} ssize_t
    pwrite64(int file, const void* bytes, size_t count,
             off64_t at){FAULTS_WRITE("write", file, FAULTS_NEXT(pwrite64, file, bytes, count, at),
                                      ::syscall(SYS_pwrite64, file, bytes, count / 2, at))} ssize_t
    writev(int file, const struct iovec* parts,
           int count){FAULTS_WRITE("write", file, FAULTS_NEXT(writev, file, parts, count),
                                   ::syscall(SYS_write, file, parts[0].iov_base, parts[0].iov_len / 2))} ssize_t
    copy_file_range(int from, off64_t* fromAt, int to, off64_t* toAt, size_t count, unsigned flags){
        FAULTS_WRITE("write", to, FAULTS_NEXT(copy_file_range, from, fromAt, to, toAt, count, flags),
                     ::syscall(SYS_copy_file_range, from, fromAt, to, toAt, count / 2, flags))} ssize_t
    sendfile(int to, int from, off_t* at,
             size_t count){FAULTS_WRITE("write", to, FAULTS_NEXT(sendfile, to, from, at, count),
                                        ::syscall(SYS_sendfile, to, from, at, count / 2))} ssize_t
    sendfile64(int to, int from, off64_t* at,
               size_t count){FAULTS_WRITE("write", to, FAULTS_NEXT(sendfile64, to, from, at, count),
                                          ::syscall(SYS_sendfile, to, from, at, count / 2))}
#define FAULTS_MMAP(name, offset)                                                                                      \
    void* name(void* where, size_t length, int protection, int flags, int file, offset at)                             \
    {                                                                                                                  \
        if ((flags & MAP_SHARED) && (protection & PROT_WRITE) && file >= 0)                                            \
            FAULTS_GUARD("mmap", Needs::Space, MAP_FAILED, folderOf(file))                                             \
        return reinterpret_cast<void*>(::syscall(SYS_mmap, where, length, protection, flags, file, at));               \
    }
FAULTS_MMAP(mmap, off_t) FAULTS_MMAP(mmap64, off64_t)

    int rename(const char* from, const char* to) noexcept
{
    FAULTS_GUARD("rename", Needs::Nothing, -1, fullPath(AT_FDCWD, from), fullPath(AT_FDCWD, to))
    return FAULTS_NEXT(rename, from, to);
}
int renameat(int fromFolder, const char* from, int toFolder, const char* to) noexcept
{
    FAULTS_GUARD("rename", Needs::Nothing, -1, fullPath(fromFolder, from), fullPath(toFolder, to))
    return FAULTS_NEXT(renameat, fromFolder, from, toFolder, to);
}
int renameat2(int fromFolder, const char* from, int toFolder, const char* to, unsigned flags) noexcept
{
    FAULTS_GUARD("rename", Needs::Nothing, -1, fullPath(fromFolder, from), fullPath(toFolder, to))
    return FAULTS_NEXT(renameat2, fromFolder, from, toFolder, to, flags);
}
int link(const char* from, const char* to) noexcept
{
    FAULTS_GUARD("link", Needs::Space, -1, fullPath(AT_FDCWD, to))
    return FAULTS_NEXT(link, from, to);
}
int linkat(int fromFolder, const char* from, int toFolder, const char* to, int flags) noexcept
{
    FAULTS_GUARD("link", Needs::Space, -1, fullPath(toFolder, to))
    return FAULTS_NEXT(linkat, fromFolder, from, toFolder, to, flags);
}
int symlink(const char* target, const char* path) noexcept
{
    FAULTS_GUARD("symlink", Needs::Space, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(symlink, target, path);
}
int symlinkat(const char* target, int folder, const char* path) noexcept
{
    FAULTS_GUARD("symlink", Needs::Space, -1, fullPath(folder, path))
    return FAULTS_NEXT(symlinkat, target, folder, path);
}
int unlink(const char* path) noexcept
{
    FAULTS_GUARD("unlink", Needs::Nothing, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(unlink, path);
}
int unlinkat(int folder, const char* path, int flags) noexcept
{
    FAULTS_GUARD((flags & AT_REMOVEDIR) ? "rmdir" : "unlink", Needs::Nothing, -1, fullPath(folder, path))
    return FAULTS_NEXT(unlinkat, folder, path, flags);
}
int remove(const char* path) noexcept
{
    FAULTS_GUARD("unlink", Needs::Nothing, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(remove, path);
}
int mkdir(const char* path, mode_t mode) noexcept
{
    FAULTS_GUARD("mkdir", Needs::Space, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(mkdir, path, mode);
}
int mkdirat(int folder, const char* path, mode_t mode) noexcept
{
    FAULTS_GUARD("mkdir", Needs::Space, -1, fullPath(folder, path))
    return FAULTS_NEXT(mkdirat, folder, path, mode);
}
int rmdir(const char* path) noexcept
{
    FAULTS_GUARD("rmdir", Needs::Nothing, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(rmdir, path);
}
int truncate(const char* path, off_t length) noexcept
{
    FAULTS_GUARD("truncate", Needs::Space, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(truncate, path, length);
}
int ftruncate(int file, off_t length) noexcept
{
    FAULTS_GUARD("truncate", Needs::Space, -1, folderOf(file))
    return FAULTS_NEXT(ftruncate, file, length);
}
int ftruncate64(int file, off64_t length) noexcept
{
    FAULTS_GUARD("truncate", Needs::Space, -1, folderOf(file))
    return FAULTS_NEXT(ftruncate64, file, length);
}
int fsync(int file)
{
    FAULTS_GUARD("fsync", Needs::Nothing, -1, folderOf(file))
    return FAULTS_NEXT(fsync, file);
}
int fdatasync(int file)
{
    FAULTS_GUARD("fsync", Needs::Nothing, -1, folderOf(file))
    return FAULTS_NEXT(fdatasync, file);
}
int chmod(const char* path, mode_t mode) noexcept
{
    FAULTS_GUARD("chmod", Needs::Nothing, -1, fullPath(AT_FDCWD, path))
    return FAULTS_NEXT(chmod, path, mode);
}
int fchmod(int file, mode_t mode) noexcept
{
    FAULTS_GUARD("chmod", Needs::Nothing, -1, folderOf(file))
    return FAULTS_NEXT(fchmod, file, mode);
}
int utimensat(int folder, const char* path, const struct timespec times[2], int flags) noexcept
{
    FAULTS_GUARD("utime", Needs::Nothing, -1, fullPath(folder, path))
    return FAULTS_NEXT(utimensat, folder, path, times, flags);
}
int futimens(int file, const struct timespec times[2]) noexcept
{
    FAULTS_GUARD("utime", Needs::Nothing, -1, folderOf(file))
    return FAULTS_NEXT(futimens, file, times);
}

// The clock on the wall, for outcomes that can be compared.
time_t time(time_t* out) noexcept
{
    static const char* const fixed = variable("FAULTS_CLOCK");
    const time_t now = fixed ? time_t(std::atoll(fixed)) : time_t(::syscall(SYS_time, nullptr));
    if (out)
        *out = now;
    return now;
}
int clock_gettime(clockid_t clock, struct timespec* out) noexcept
{
    static const char* const fixed = variable("FAULTS_CLOCK");
    const int code = int(::syscall(SYS_clock_gettime, clock, out));
    if (fixed && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        *out = {time_t(std::atoll(fixed)), 0};
    return code;
}
int gettimeofday(struct timeval* out, void*) noexcept
{
    static const char* const fixed = variable("FAULTS_CLOCK");
    const int code = int(::syscall(SYS_gettimeofday, out, nullptr));
    if (fixed)
        *out = {time_t(std::atoll(fixed)), 0};
    return code;
}

} // extern "C"

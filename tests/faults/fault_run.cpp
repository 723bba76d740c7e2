// SPDX-License-Identifier: MIT
#include "tests/faults/fault_run.h"

#include "tests/faults/fault_state.h"

#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <new>

#include <fcntl.h>
#include <poll.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

namespace espalier::test {

namespace fs = std::filesystem;

namespace {

constexpr int longestSeconds = 120;

// What a program's run leaves: its two outputs, and the count. Removed with it.
class Drop {
  public:
    Drop()
    {
        std::string name = (scratchFolder() / "espalier-run-XXXXXX").string();
        if (!::mkdtemp(name.data())) {
            std::perror("mkdtemp");
            std::exit(2);
        }
        m_folder = name;
        const int file = ::open((m_folder / "state").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
        if (::ftruncate(file, sizeof(FaultState)) < 0)
            std::perror("ftruncate");
        void* const shared = ::mmap(nullptr, sizeof(FaultState), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
        ::close(file);
        m_state = new (shared) FaultState{};
    }
    ~Drop()
    {
        ::munmap(m_state, sizeof(FaultState));
        std::error_code ignored;
        fs::remove_all(m_folder, ignored);
    }
    Drop(const Drop&) = delete;
    Drop& operator=(const Drop&) = delete;
    fs::path file(const char* name) const { return m_folder / name; }
    const FaultState& state() const { return *m_state; }

  private:
    fs::path m_folder;
    FaultState* m_state = nullptr;
};

std::vector<std::string> environmentFor(const Fault& fault, const Drop& drop)
{
    std::vector<std::string> lines{
        "GIT_CONFIG_NOSYSTEM=1", "GIT_CONFIG_GLOBAL=/dev/null",      "GIT_TERMINAL_PROMPT=0",    "LC_ALL=C.UTF-8",
        "HOME=/nonexistent",     "GIT_AUTHOR_DATE=1700000000 +0000", "QT_QPA_PLATFORM=offscreen"};
    if (const char* path = std::getenv("PATH"))
        lines.push_back(std::string("PATH=") + path);
    if (fault.below.empty())
        return lines;
    lines.push_back("LD_PRELOAD=" ESPALIER_FAULTS);
    lines.push_back("FAULTS_BELOW=" + fault.below.string());
    lines.push_back("FAULTS_STATE=" + drop.file("state").string());
    lines.push_back("FAULTS_AT=" + std::to_string(fault.at));
    lines.push_back("FAULTS_KIND=" + fault.kind);
    if (fault.clock != 0)
        lines.push_back("FAULTS_CLOCK=" + std::to_string(fault.clock));
    if (!fault.command.empty())
        lines.push_back("FAULTS_RUN=" + fault.command);
    if (!fault.log.empty())
        lines.push_back("FAULTS_LOG=" + fault.log.string());
    return lines;
}

std::vector<char*> pointersTo(std::vector<std::string>& texts)
{
    std::vector<char*> pointers;
    for (std::string& text : texts)
        pointers.push_back(text.data());
    pointers.push_back(nullptr);
    return pointers;
}

[[noreturn]] void become(std::vector<std::string> argv, const fs::path& folder, std::vector<std::string> environment,
                         const Drop& drop)
{
    ::setpgid(0, 0);
    const int in = ::open("/dev/null", O_RDONLY);
    const int out = ::open(drop.file("out").c_str(), O_WRONLY | O_CREAT, 0644);
    const int err = ::open(drop.file("err").c_str(), O_WRONLY | O_CREAT, 0644);
    ::dup2(in, 0);
    ::dup2(out, 1);
    ::dup2(err, 2);
    ::close_range(3, ~0U, 0);
    if (::chdir(folder.c_str()) == 0)
        ::execvpe(argv.front().c_str(), pointersTo(argv).data(), pointersTo(environment).data());
    ::_exit(127);
}

// True when it ended by itself.
bool awaitEnd(pid_t pid)
{
    const int handle = int(::syscall(SYS_pidfd_open, pid, 0));
    pollfd ended{handle, POLLIN, 0};
    int code = 0;
    do
        code = ::poll(&ended, 1, longestSeconds * 1000);
    while (code < 0 && errno == EINTR);
    ::close(handle);
    return code > 0;
}

} // namespace

Ran run(const std::vector<std::string>& argv, const fs::path& folder, const Fault& fault)
{
    // What a killed program leaves running becomes this process's child, and is waited for.
    ::prctl(PR_SET_CHILD_SUBREAPER, 1);
    Ran ran;
    const Drop drop;
    const std::vector<std::string> environment = environmentFor(fault, drop);
    const pid_t pid = ::fork();
    if (pid == 0)
        become(argv, folder, environment, drop);
    ran.hung = !awaitEnd(pid);
    if (ran.hung)
        ::kill(-pid, SIGKILL);
    int status = 0;
    while (::waitpid(pid, &status, 0) < 0 && errno == EINTR) {
    }
    for (pid_t left; (left = ::waitpid(-1, nullptr, 0)) > 0 || errno == EINTR;) {
    }
    if (WIFEXITED(status))
        ran.exitCode = WEXITSTATUS(status);
    else
        ran.signal = WTERMSIG(status);
    ran.calls = drop.state().calls;
    ran.fired = drop.state().fired != 0;
    ran.out = readFile(drop.file("out"));
    ran.err = readFile(drop.file("err"));
    return ran;
}

std::string shell(const std::string& script, const fs::path& folder)
{
    Ran ran = run({"sh", "-e", "-c", script}, folder);
    if (!ran.ok()) {
        std::fprintf(stderr, "The scene cannot be built: %s\n%s\n", script.c_str(), ran.err.c_str());
        std::exit(2);
    }
    return std::move(ran.out);
}

std::string readFile(const fs::path& path)
{
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

fs::path scratchFolder()
{
    std::error_code error;
    if (const char* given = std::getenv("TMPDIR"); given && fs::is_directory(given, error))
        return given;
    return ::access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
}

} // namespace espalier::test

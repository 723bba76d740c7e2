// SPDX-License-Identifier: MIT
#include "core/git/process.h"

#include "core/git/text.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>
#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ; // NOLINT: POSIX names it so

namespace espalier {

namespace {

using Clock = std::chrono::steady_clock;

class Fd {
  public:
    explicit Fd(int fd = -1) : m_fd(fd) {}
    ~Fd() { close(); }
    Fd(const Fd&) = delete;
    Fd& operator=(const Fd&) = delete;
    int get() const { return m_fd; }
    bool isOpen() const { return m_fd >= 0; }
    void set(int fd)
    {
        close();
        m_fd = fd;
    }
    void close()
    {
        if (m_fd >= 0)
            ::close(m_fd);
        m_fd = -1;
    }

  private:
    int m_fd;
};

struct Pipe {
    Fd read, write;
    bool open()
    {
        int ends[2];
        if (::pipe2(ends, O_CLOEXEC) != 0)
            return false;
        read.set(ends[0]);
        write.set(ends[1]);
        return true;
    }
};

// Keeps SIGPIPE off this thread while it lives: a program that does not read its input is no reason to die.
class NoSigPipe {
  public:
    NoSigPipe()
    {
        sigset_t pending;
        sigemptyset(&m_pipe);
        sigaddset(&m_pipe, SIGPIPE);
        sigpending(&pending);
        m_wasPending = sigismember(&pending, SIGPIPE) == 1;
        pthread_sigmask(SIG_BLOCK, &m_pipe, &m_before);
    }
    ~NoSigPipe()
    {
        if (!m_wasPending) {
            const timespec now{};
            while (sigtimedwait(&m_pipe, nullptr, &now) == -1 && errno == EINTR) {
            }
        }
        pthread_sigmask(SIG_SETMASK, &m_before, nullptr);
    }
    NoSigPipe(const NoSigPipe&) = delete;
    NoSigPipe& operator=(const NoSigPipe&) = delete;

  private:
    sigset_t m_pipe{}, m_before{};
    bool m_wasPending = false;
};

// What git itself removes before it runs something in another repository (git rev-parse --local-env-vars).
constexpr const char* repositoryVariables[] = {
    "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_CONFIG", "GIT_OBJECT_DIRECTORY", "GIT_DIR", "GIT_WORK_TREE",
    "GIT_IMPLICIT_WORK_TREE", "GIT_GRAFT_FILE", "GIT_INDEX_FILE", "GIT_NO_REPLACE_OBJECTS", "GIT_REPLACE_REF_BASE",
    "GIT_PREFIX", "GIT_SHALLOW_FILE", "GIT_COMMON_DIR", "GIT_INTERNAL_SUPER_PREFIX"};

std::vector<std::string> environmentOf(const ProcessRequest& request)
{
    std::map<std::string, std::string> variables;
    for (char** at = environ; *at; ++at) {
        const std::string_view line = *at;
        const std::size_t equals = line.find('=');
        if (equals != std::string_view::npos)
            variables.emplace(line.substr(0, equals), line.substr(equals + 1));
    }
    for (const char* name : repositoryVariables)
        variables.erase(name);
    for (const auto& [name, value] : request.environment) {
        if (value)
            variables[name] = *value;
        else
            variables.erase(name);
    }
    std::vector<std::string> lines;
    for (const auto& [name, value] : variables)
        lines.push_back(name + '=' + value);
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

// The process while it runs: its pipes, and the end of it.
class Child {
  public:
    explicit Child(const ProcessRequest& request) : m_request(request) {}
    ~Child()
    {
        if (m_pid > 0 && !m_ended)
            end();
    }
    Child(const Child&) = delete;
    Child& operator=(const Child&) = delete;

    Result<void> start()
    {
        if (!m_in.open() || !m_out.open() || !m_err.open() || !m_stop.open())
            return fail(ErrorKind::Storage, "A program cannot be started", m_request.argv.front(),
                        "Too many files are open; close other programs and try again");
        int code = spawn(m_request.argv);
        if (code == ENOEXEC) {
            // A script without a first line that names its interpreter is the shell's (POSIX, execvp).
            std::vector<std::string> argv{"sh"};
            argv.insert(argv.end(), m_request.argv.begin(), m_request.argv.end());
            code = spawn(argv);
        }
        if (code == ENOENT || code == ENOTDIR)
            return fail(ErrorKind::NotFound, "A program was not found", m_request.argv.front(),
                        "Install it, or correct the setting of git that names it");
        if (code != 0)
            return fail(ErrorKind::Storage, std::string("A program cannot be started [") + std::strerror(code) + "]",
                        m_request.argv.front(), "Check that it may be executed");
        m_in.read.close();
        m_out.write.close();
        m_err.write.close();
        for (const Fd* fd : {&m_in.write, &m_out.read, &m_err.read})
            fcntl(fd->get(), F_SETFL, O_NONBLOCK);
        return {};
    }

    Result<ProcessResult> wait()
    {
        const NoSigPipe guard;
        const std::stop_callback wake(m_request.stop, [this] {
            const char byte = 0;
            [[maybe_unused]] const auto written = ::write(m_stop.write.get(), &byte, 1);
        });
        ProcessResult result;
        if (m_request.input.empty())
            m_in.write.close();
        while (!m_ended || m_out.read.isOpen() || m_err.read.isOpen()) {
            const bool wasEnded = m_ended;
            const bool moved = poll(result);
            if (m_request.stop.stop_requested()) {
                end();
                return cancelled();
            }
            if (result.out.size() > m_request.outputLimit || result.err.size() > m_request.outputLimit) {
                end();
                return fail(ErrorKind::Broken, "A program wrote more than it should", m_request.argv.front(),
                            "It was stopped; run it by hand to see why");
            }
            // What it left running in the background may hold the pipes open for ever: quiet after its end is the end.
            if (wasEnded && !moved)
                break;
            tryReap(WNOHANG);
        }
        result.exitCode = WIFSIGNALED(m_status) ? 128 + WTERMSIG(m_status) : WEXITSTATUS(m_status);
        return result;
    }

  private:
    int spawn(std::vector<std::string> argv)
    {
        posix_spawn_file_actions_t actions;
        posix_spawn_file_actions_init(&actions);
        posix_spawn_file_actions_adddup2(&actions, m_in.read.get(), 0);
        posix_spawn_file_actions_adddup2(&actions, m_out.write.get(), 1);
        posix_spawn_file_actions_adddup2(&actions, m_err.write.get(), 2);
        if (!m_request.folder.empty())
            posix_spawn_file_actions_addchdir_np(&actions, m_request.folder.c_str());
#if defined(__GLIBC_PREREQ)
#if __GLIBC_PREREQ(2, 34)
        posix_spawn_file_actions_addclosefrom_np(&actions, 3);
#endif
#endif
        posix_spawnattr_t attributes;
        posix_spawnattr_init(&attributes);
        sigset_t none, usual;
        sigemptyset(&none);
        sigemptyset(&usual);
        for (const int number : {SIGPIPE, SIGINT, SIGTERM, SIGQUIT, SIGHUP, SIGCHLD})
            sigaddset(&usual, number);
        posix_spawnattr_setsigmask(&attributes, &none);
        posix_spawnattr_setsigdefault(&attributes, &usual);
        short flags = POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF;
        if (!m_request.interactive)
            flags = short(flags | POSIX_SPAWN_SETPGROUP);
        posix_spawnattr_setpgroup(&attributes, 0);
        posix_spawnattr_setflags(&attributes, flags);
        std::vector<std::string> environment = environmentOf(m_request);
        const int code = posix_spawnp(&m_pid, argv.front().c_str(), &actions, &attributes, pointersTo(argv).data(),
                                      pointersTo(environment).data());
        posix_spawnattr_destroy(&attributes);
        posix_spawn_file_actions_destroy(&actions);
        if (code != 0)
            m_pid = -1;
        return code;
    }

    // Waits a moment for something to happen and moves bytes; true when any moved.
    bool poll(ProcessResult& result)
    {
        pollfd watched[] = {{m_stop.read.get(), POLLIN, 0},
                            {m_in.write.get(), POLLOUT, 0}, // a closed one is -1, which poll passes over
                            {m_out.read.get(), POLLIN, 0},
                            {m_err.read.get(), POLLIN, 0}};
        ::poll(watched, 4, m_ended ? 100 : 20);
        bool moved = false;
        if (watched[1].revents)
            moved |= feed();
        if (watched[2].revents)
            moved |= drain(m_out.read, result.out);
        if (watched[3].revents)
            moved |= drain(m_err.read, result.err);
        return moved;
    }

    bool feed()
    {
        const std::string& input = m_request.input;
        const ssize_t count = ::write(m_in.write.get(), input.data() + m_fed, input.size() - m_fed);
        if (count < 0) {
            if (errno != EAGAIN && errno != EINTR)
                m_in.write.close(); // it does not want the rest
            return false;
        }
        m_fed += std::size_t(count);
        if (m_fed == input.size())
            m_in.write.close();
        return count > 0;
    }

    static bool drain(Fd& from, std::string& into)
    {
        char buffer[65536];
        const ssize_t count = ::read(from.get(), buffer, sizeof buffer);
        if (count > 0) {
            into.append(buffer, std::size_t(count));
            return true;
        }
        if (count == 0 || (errno != EAGAIN && errno != EINTR))
            from.close();
        return false;
    }

    bool tryReap(int options)
    {
        if (!m_ended) {
            pid_t reaped;
            do
                reaped = waitpid(m_pid, &m_status, options);
            while (reaped == -1 && errno == EINTR);
            m_ended = reaped == m_pid || reaped == -1;
        }
        return m_ended;
    }

    void signal(int number) const { ::kill(m_request.interactive ? m_pid : -m_pid, number); }

    void end()
    {
        if (tryReap(WNOHANG))
            return;
        signal(SIGTERM);
        const auto patience = Clock::now() + std::chrono::seconds(2);
        while (!tryReap(WNOHANG) && Clock::now() < patience)
            ::poll(nullptr, 0, 10);
        if (!m_ended) {
            signal(SIGKILL);
            tryReap(0);
        }
    }

    const ProcessRequest& m_request;
    Pipe m_in, m_out, m_err, m_stop;
    pid_t m_pid = -1;
    int m_status = 0;
    bool m_ended = false;
    std::size_t m_fed = 0;
};

} // namespace

std::string ProcessResult::lastWords() const
{
    std::string_view rest = err;
    while (!rest.empty()) {
        const std::size_t end = rest.rfind('\n');
        std::string_view line = end == std::string_view::npos ? rest : rest.substr(end + 1);
        rest = end == std::string_view::npos ? std::string_view() : rest.substr(0, end);
        while (!line.empty() && (line.back() == ' ' || line.back() == '\r' || line.back() == '.'))
            line.remove_suffix(1);
        if (!line.empty())
            return displayText(line, 300);
    }
    return {};
}

Result<ProcessResult> run(const ProcessRequest& request)
{
    if (request.argv.empty() || request.argv.front().empty())
        return fail(ErrorKind::Usage, "No program is named", {}, "Correct the setting of git that names it");
    if (request.stop.stop_requested())
        return cancelled();
    Child child(request);
    if (auto started = child.start(); !started)
        return std::unexpected(started.error());
    return child.wait();
}

std::vector<std::string> shellCommand(const std::string& commandLine, const std::vector<std::string>& arguments)
{
    std::vector<std::string> argv{"sh", "-c", arguments.empty() ? commandLine : commandLine + " \"$@\"", commandLine};
    argv.insert(argv.end(), arguments.begin(), arguments.end());
    return argv;
}

std::string shellQuoted(std::string_view word)
{
    std::string quoted = "'";
    for (const char c : word) {
        if (c == '\'')
            quoted += "'\\''";
        else
            quoted += c;
    }
    return quoted + '\'';
}

} // namespace espalier

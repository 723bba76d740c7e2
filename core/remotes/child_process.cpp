// SPDX-License-Identifier: MIT
#include "core/remotes/child_process.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>

#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

namespace espalier {

namespace {

constexpr std::size_t maxErrors = 1 << 16;
constexpr std::size_t maxOutput = 1 << 20;
constexpr auto silenceLimit = std::chrono::minutes(5);

void closeFile(int& file)
{
    if (file >= 0)
        ::close(file);
    file = -1;
}

// A program that ends early must not take this process along: SIGPIPE is held back and swallowed for this thread.
class NoPipeSignal {
  public:
    NoPipeSignal()
    {
        sigset_t pipe;
        sigemptyset(&pipe);
        sigaddset(&pipe, SIGPIPE);
        pthread_sigmask(SIG_BLOCK, &pipe, &m_before);
    }
    ~NoPipeSignal()
    {
        sigset_t pipe;
        sigemptyset(&pipe);
        sigaddset(&pipe, SIGPIPE);
        const timespec now{0, 0};
        if (!sigismember(&m_before, SIGPIPE)) {
            while (sigtimedwait(&pipe, nullptr, &now) == SIGPIPE) {
            }
        }
        pthread_sigmask(SIG_SETMASK, &m_before, nullptr);
    }

  private:
    sigset_t m_before;
};

std::vector<std::string> environmentWith(const std::vector<std::pair<std::string, std::string>>& more)
{
    std::vector<std::string> all;
    for (char** item = environ; *item; ++item) {
        const std::string_view line = *item;
        const bool replaced = std::ranges::any_of(
            more, [&](const auto& pair) { return line.starts_with(pair.first) && line.substr(pair.first.size()).starts_with('='); });
        if (!replaced)
            all.emplace_back(line);
    }
    for (const auto& [name, value] : more)
        all.push_back(name + '=' + value);
    return all;
}

std::vector<char*> pointers(const std::vector<std::string>& texts)
{
    std::vector<char*> list;
    for (const std::string& text : texts)
        list.push_back(const_cast<char*>(text.c_str()));
    list.push_back(nullptr);
    return list;
}

} // namespace

Result<ChildProcess> ChildProcess::start(const ChildSpec& spec)
{
    const std::vector<std::string> environment = environmentWith(spec.environment);
    const std::vector<char*> arguments = pointers(spec.arguments), variables = pointers(environment);
    int in[2], outPipe[2], err[2], failed[2];
    if (::pipe2(in, O_CLOEXEC) < 0 || ::pipe2(outPipe, O_CLOEXEC) < 0 || ::pipe2(err, O_CLOEXEC) < 0 ||
        ::pipe2(failed, O_CLOEXEC) < 0)
        return fail(ErrorKind::Storage, "A program cannot be started", spec.arguments.front(), "Close other programs");
    const pid_t pid = ::fork();
    if (pid == 0) {
        sigset_t none;
        sigemptyset(&none);
        ::pthread_sigmask(SIG_SETMASK, &none, nullptr);
        ::dup2(in[0], 0);
        ::dup2(outPipe[1], 1);
        ::dup2(err[1], 2);
        if (spec.folder.empty() || ::chdir(spec.folder.c_str()) == 0)
            ::execvpe(arguments[0], arguments.data(), variables.data());
        const int error = errno;
        (void)!::write(failed[1], &error, sizeof error);
        ::_exit(127);
    }
    ChildProcess child;
    child.m_pid = pid;
    child.m_in = in[1];
    child.m_out = outPipe[0];
    child.m_err = err[0];
    ::close(in[0]);
    ::close(outPipe[1]);
    ::close(err[1]);
    ::close(failed[1]);
    int error = 0;
    const bool notRun = ::read(failed[0], &error, sizeof error) == sizeof error;
    ::close(failed[0]);
    if (pid < 0 || notRun)
        return fail(ErrorKind::NotFound, std::string("The program cannot be run: ") + ::strerror(error),
                    spec.arguments.front(), "Check that it is installed and may be run");
    for (const int file : {child.m_in, child.m_out, child.m_err})
        ::fcntl(file, F_SETFL, O_NONBLOCK);
    return child;
}

ChildProcess::ChildProcess(ChildProcess&& other) noexcept
    : m_in(std::exchange(other.m_in, -1)), m_out(std::exchange(other.m_out, -1)), m_err(std::exchange(other.m_err, -1)),
      m_pid(std::exchange(other.m_pid, -1)), m_errors(std::move(other.m_errors))
{
}

ChildProcess::~ChildProcess()
{
    closeFile(m_in);
    closeFile(m_out);
    if (m_pid > 0) {
        ::kill(pid_t(m_pid), SIGTERM);
        wait();
    }
    closeFile(m_err);
}

void ChildProcess::drainErrors()
{
    char buffer[4096];
    while (m_err >= 0) {
        const ssize_t got = ::read(m_err, buffer, sizeof buffer);
        if (got <= 0) {
            if (got == 0 || (errno != EAGAIN && errno != EINTR))
                closeFile(m_err);
            if (got == 0 || errno != EINTR)
                break;
            continue;
        }
        m_errors.append(buffer, std::size_t(got));
        if (m_errors.size() > maxErrors)
            m_errors.erase(0, m_errors.size() - maxErrors);
    }
}

Result<void> ChildProcess::waitFor(int file, short events, const Progress& progress)
{
    const auto until = std::chrono::steady_clock::now() + silenceLimit;
    for (;;) {
        if (progress.stopped())
            return cancelled();
        pollfd files[2] = {{file, events, 0}, {m_err, POLLIN, 0}};
        const int ready = ::poll(files, m_err >= 0 ? 2 : 1, 200);
        if (ready > 0 && m_err >= 0 && files[1].revents)
            drainErrors();
        if (ready > 0 && files[0].revents)
            return {};
        if (std::chrono::steady_clock::now() > until)
            return fail(ErrorKind::Network, "The other side has been silent for five minutes", {}, "Try again later");
    }
}

Result<std::size_t> ChildProcess::read(char* buffer, std::size_t size, const Progress& progress)
{
    for (;;) {
        if (auto ready = waitFor(m_out, POLLIN, progress); !ready)
            return std::unexpected(ready.error());
        const ssize_t got = ::read(m_out, buffer, size);
        if (got >= 0)
            return std::size_t(got);
        if (errno != EAGAIN && errno != EINTR)
            return fail(ErrorKind::Network, "The connection broke", {}, "Try again");
    }
}

Result<void> ChildProcess::write(std::string_view bytes, const Progress& progress)
{
    const NoPipeSignal guard;
    while (!bytes.empty()) {
        if (auto ready = waitFor(m_in, POLLOUT, progress); !ready)
            return ready;
        const ssize_t sent = ::write(m_in, bytes.data(), bytes.size());
        if (sent > 0)
            bytes.remove_prefix(std::size_t(sent));
        else if (errno != EAGAIN && errno != EINTR)
            return fail(ErrorKind::Network, "The other side closed the connection", {}, "Try again");
    }
    return {};
}

void ChildProcess::closeInput() { closeFile(m_in); }

int ChildProcess::wait()
{
    closeFile(m_in);
    int status = 0;
    for (;;) {
        drainErrors();
        const pid_t ended = ::waitpid(pid_t(m_pid), &status, WNOHANG);
        if (ended != 0)
            break;
        pollfd quiet{m_err, POLLIN, 0};
        ::poll(&quiet, m_err >= 0 ? 1 : 0, 20);
    }
    drainErrors();
    m_pid = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

Result<ChildResult> runChild(const ChildSpec& spec, std::string_view input, const Progress& progress)
{
    auto child = ChildProcess::start(spec);
    if (!child)
        return std::unexpected(child.error());
    // A program that does not read its input is not an error.
    if (auto sent = child->write(input, progress); !sent && sent.error().kind == ErrorKind::Cancelled)
        return std::unexpected(sent.error());
    child->closeInput();
    ChildResult result;
    char buffer[4096];
    for (;;) {
        auto got = child->read(buffer, sizeof buffer, progress);
        if (!got)
            return std::unexpected(got.error());
        if (*got == 0)
            break;
        if (result.out.size() < maxOutput)
            result.out.append(buffer, *got);
    }
    result.exitCode = child->wait();
    result.errors = child->errors();
    return result;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/conversation.h"

#include "core/git/spawn.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

namespace espalier {

namespace {

constexpr std::size_t maxErrors = 1 << 16;
constexpr auto silenceLimit = std::chrono::minutes(5);

} // namespace

struct Conversation::State {
    Pipes pipes;
    pid_t pid = -1;
};

Result<Conversation> Conversation::start(const ProcessRequest& request)
{
    Conversation begun;
    begun.d = std::make_unique<State>();
    const auto pid = spawnProcess(request, begun.d->pipes);
    if (!pid)
        return std::unexpected(pid.error());
    begun.d->pid = *pid;
    return begun;
}

Conversation::Conversation() = default;
Conversation::Conversation(Conversation&& other) noexcept = default;

Conversation::~Conversation()
{
    if (!d || d->pid <= 0)
        return;
    d->pipes.in.write.close();
    d->pipes.out.read.close();
    ::kill(d->pid, SIGTERM);
    wait();
}

void Conversation::drainErrors()
{
    char buffer[4096];
    while (d->pipes.err.read.isOpen()) {
        const ssize_t got = ::read(d->pipes.err.read.get(), buffer, sizeof buffer);
        if (got <= 0) {
            if (got == 0 || (errno != EAGAIN && errno != EINTR))
                d->pipes.err.read.close();
            if (got == 0 || errno != EINTR)
                break;
            continue;
        }
        m_errors.append(buffer, std::size_t(got));
        if (m_errors.size() > maxErrors)
            m_errors.erase(0, m_errors.size() - maxErrors);
    }
}

Result<void> Conversation::waitFor(int file, short events, const Progress& progress)
{
    const auto until = std::chrono::steady_clock::now() + silenceLimit;
    for (;;) {
        if (progress.stopped())
            return cancelled();
        pollfd files[2] = {{file, events, 0}, {d->pipes.err.read.get(), POLLIN, 0}};
        const int ready = ::poll(files, d->pipes.err.read.isOpen() ? 2 : 1, 200);
        if (ready > 0 && d->pipes.err.read.isOpen() && files[1].revents)
            drainErrors();
        if (ready > 0 && files[0].revents)
            return {};
        if (std::chrono::steady_clock::now() > until)
            return fail(ErrorKind::Network, "The other side has been silent for five minutes", {}, "Try again later");
    }
}

Result<std::size_t> Conversation::read(char* buffer, std::size_t size, const Progress& progress)
{
    for (;;) {
        if (auto ready = waitFor(d->pipes.out.read.get(), POLLIN, progress); !ready)
            return std::unexpected(ready.error());
        const ssize_t got = ::read(d->pipes.out.read.get(), buffer, size);
        if (got >= 0)
            return std::size_t(got);
        if (errno != EAGAIN && errno != EINTR)
            return fail(ErrorKind::Network, "The connection broke", {}, "Try again");
    }
}

Result<void> Conversation::write(std::string_view bytes, const Progress& progress)
{
    const NoSigPipe guard;
    while (!bytes.empty()) {
        if (auto ready = waitFor(d->pipes.in.write.get(), POLLOUT, progress); !ready)
            return ready;
        const ssize_t sent = ::write(d->pipes.in.write.get(), bytes.data(), bytes.size());
        if (sent > 0)
            bytes.remove_prefix(std::size_t(sent));
        else if (errno != EAGAIN && errno != EINTR)
            return fail(ErrorKind::Network, "The other side closed the connection", {}, "Try again");
    }
    return {};
}

void Conversation::closeInput() { d->pipes.in.write.close(); }

int Conversation::wait()
{
    d->pipes.in.write.close();
    int status = 0;
    for (;;) {
        drainErrors();
        const pid_t ended = ::waitpid(d->pid, &status, WNOHANG);
        if (ended != 0)
            break;
        pollfd quiet{d->pipes.err.read.get(), POLLIN, 0};
        ::poll(&quiet, d->pipes.err.read.isOpen() ? 1 : 0, 20);
    }
    drainErrors();
    d->pid = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

} // namespace espalier

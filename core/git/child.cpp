// SPDX-License-Identifier: MIT
#include "core/git/child.h"

#include <cerrno>
#include <csignal>
#include <poll.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

namespace espalier {

namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

constexpr auto grace = std::chrono::seconds(2);

// A file that becomes readable when the process ends; closed where the system has none (Linux before 5.3).
int endOf(pid_t pid)
{
#ifdef SYS_pidfd_open
    return int(::syscall(SYS_pidfd_open, pid, 0));
#else
    (void)pid;
    return -1;
#endif
}

} // namespace

struct Child::State {
    Pipes pipes;
    Pipe wake; // a stop is asked for on another thread
    Fd end;
    pid_t pid = -1;
    bool isAlone = false;
    bool hasEnded = false;
    int status = 0;

    bool reap(int options);
    bool isGone() const;
    void signal(int number) const { ::kill(isAlone ? pid : -pid, number); }
};

bool Child::State::reap(int options)
{
    if (hasEnded)
        return true;
    pid_t reaped;
    do
        reaped = ::waitpid(pid, &status, options);
    while (reaped == -1 && errno == EINTR);
    hasEnded = reaped == pid || reaped == -1;
    return hasEnded;
}

// Ended, but not reaped: as long as it is not, nobody else can get its number, which is its group's too.
bool Child::State::isGone() const
{
    siginfo_t info{};
    return ::waitid(P_PID, id_t(pid), &info, WEXITED | WNOHANG | WNOWAIT) != 0 || info.si_pid == pid;
}

Child::Child(std::unique_ptr<State> state) : d(std::move(state)) {}
Child::Child(Child&& other) noexcept = default;

Child::~Child()
{
    if (d)
        end();
}

Result<Child> Child::start(const ProcessRequest& request)
{
    auto state = std::make_unique<State>();
    if (!state->wake.open())
        return fail(ErrorKind::Storage, "A program cannot be started", request.argv.front(),
                    "Too many files are open; close other programs and try again");
    const auto pid = spawnProcess(request, state->pipes);
    if (!pid)
        return std::unexpected(pid.error());
    state->pid = *pid;
    state->isAlone = request.interactive;
    state->end.set(endOf(*pid));
    return Child(std::move(state));
}

void Child::wait(const std::stop_token& stop, Wants wants, milliseconds most)
{
    const std::stop_callback onStop(stop, [this] {
        const char byte = 0;
        [[maybe_unused]] const auto written = ::write(d->wake.write.get(), &byte, 1);
    });
    // A file that is closed is -1, which poll passes over.
    pollfd watched[] = {{d->wake.read.get(), POLLIN, 0},
                        {wants == Wants::InputToo ? d->pipes.in.write.get() : -1, POLLOUT, 0},
                        {d->pipes.out.read.get(), POLLIN, 0},
                        {d->pipes.err.read.get(), POLLIN, 0},
                        {d->hasEnded ? -1 : d->end.get(), POLLIN, 0}};
    constexpr milliseconds look(20); // for its end, where the system tells of none
    const bool looks = !d->hasEnded && !d->end.isOpen();
    ::poll(watched, std::size(watched), int((looks ? std::min(most, look) : most).count()));
    d->reap(WNOHANG);
}

std::size_t Child::read(Fd& from, char* buffer, std::size_t size)
{
    if (!from.isOpen())
        return 0;
    const ssize_t count = ::read(from.get(), buffer, size);
    if (count > 0)
        return std::size_t(count);
    if (count == 0 || (errno != EAGAIN && errno != EINTR))
        from.close();
    return 0;
}

std::size_t Child::write(std::string_view bytes)
{
    const NoSigPipe guard;
    const ssize_t count = in().isOpen() ? ::write(in().get(), bytes.data(), bytes.size()) : 0;
    if (count < 0 && errno != EAGAIN && errno != EINTR)
        in().close();
    return count > 0 ? std::size_t(count) : 0;
}

Fd& Child::in() { return d->pipes.in.write; }
Fd& Child::out() { return d->pipes.out.read; }
Fd& Child::err() { return d->pipes.err.read; }

bool Child::hasEnded() { return d->reap(WNOHANG); }

int Child::exitCode() const { return WIFSIGNALED(d->status) ? 128 + WTERMSIG(d->status) : WEXITSTATUS(d->status); }

void Child::end()
{
    if (d->reap(WNOHANG))
        return;
    in().close();
    d->signal(SIGTERM);
    // Those that it has started mostly hold its pipes: when both are closed they have gone too, and need not be killed.
    const auto until = Clock::now() + grace;
    char nobodyReads[4096];
    while (!d->isGone() || (!d->isAlone && (out().isOpen() || err().isOpen()))) {
        const auto left = std::chrono::duration_cast<milliseconds>(until - Clock::now());
        if (left.count() <= 0)
            break;
        pollfd watched[] = {{out().get(), POLLIN, 0}, {err().get(), POLLIN, 0}};
        const bool open = out().isOpen() || err().isOpen();
        ::poll(watched, open ? 2 : 0, int(std::min(left, milliseconds(10)).count()));
        for (Fd* fd : {&out(), &err()})
            while (read(*fd, nobodyReads, sizeof nobodyReads) > 0) {
            }
    }
    d->signal(SIGKILL);
    d->reap(0);
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/process.h"

#include "core/git/spawn.h"
#include "core/git/text.h"

#include <cerrno>
#include <chrono>
#include <csignal>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

namespace espalier {

namespace {

using Clock = std::chrono::steady_clock;

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
        if (!m_stop.open())
            return fail(ErrorKind::Storage, "A program cannot be started", m_request.argv.front(),
                        "Too many files are open; close other programs and try again");
        const auto pid = spawnProcess(m_request, m_pipes);
        if (!pid)
            return std::unexpected(pid.error());
        m_pid = *pid;
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
            m_pipes.in.write.close();
        while (!m_ended || m_pipes.out.read.isOpen() || m_pipes.err.read.isOpen()) {
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
    // Waits a moment for something to happen and moves bytes; true when any moved.
    bool poll(ProcessResult& result)
    {
        pollfd watched[] = {{m_stop.read.get(), POLLIN, 0},
                            {m_pipes.in.write.get(), POLLOUT, 0}, // a closed one is -1, which poll passes over
                            {m_pipes.out.read.get(), POLLIN, 0},
                            {m_pipes.err.read.get(), POLLIN, 0}};
        ::poll(watched, 4, m_ended ? 100 : 20);
        bool moved = false;
        if (watched[1].revents)
            moved |= feed();
        if (watched[2].revents)
            moved |= drain(m_pipes.out.read, result.out);
        if (watched[3].revents)
            moved |= drain(m_pipes.err.read, result.err);
        return moved;
    }

    bool feed()
    {
        const std::string& input = m_request.input;
        const ssize_t count = ::write(m_pipes.in.write.get(), input.data() + m_fed, input.size() - m_fed);
        if (count < 0) {
            if (errno != EAGAIN && errno != EINTR)
                m_pipes.in.write.close(); // it does not want the rest
            return false;
        }
        m_fed += std::size_t(count);
        if (m_fed == input.size())
            m_pipes.in.write.close();
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
    Pipes m_pipes;
    Pipe m_stop;
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
        // A csh at the other end of ssh takes an exclamation mark for itself even in quotes (git's quote.c).
        if (c == '\'' || c == '!')
            quoted += std::string("'\\") + c + '\'';
        else
            quoted += c;
    }
    return quoted + '\'';
}

} // namespace espalier

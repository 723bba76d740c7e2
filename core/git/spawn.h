// SPDX-License-Identifier: MIT
//
// Starting an outside program with its three standard files as pipes. What becomes of it is Child's affair (child.h), which
// is who calls this. Private to core/git.
#pragma once

#include "core/git/process.h"

#include <cerrno>
#include <csignal>
#include <fcntl.h>
#include <sys/types.h>
#include <unistd.h>

#include <utility>

namespace espalier {

class Fd {
  public:
    explicit Fd(int fd = -1) : m_fd(fd) {}
    ~Fd() { close(); }
    Fd(const Fd&) = delete;
    Fd& operator=(const Fd&) = delete;
    Fd(Fd&& other) noexcept : m_fd(std::exchange(other.m_fd, -1)) {}
    Fd& operator=(Fd&& other) noexcept
    {
        std::swap(m_fd, other.m_fd);
        return *this;
    }
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

// The ends that this program keeps; not blocking.
struct Pipes {
    Pipe in, out, err;
};

// Starts request.argv in request.folder with request.environment; `input`, `stop` and `outputLimit` are the caller's affair.
// No file of this program but the three pipes is open in it. Unless request.interactive, it leads a process group of its own.
// Errors: NotFound (no such program), Storage (no pipe, no process).
Result<pid_t> spawnProcess(const ProcessRequest& request, Pipes& pipes);

} // namespace espalier

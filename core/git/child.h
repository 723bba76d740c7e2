// SPDX-License-Identifier: MIT
//
// An outside program while it runs: its three pipes and the end of it. run() (process.h) is the way of talking
// with one; every program that core starts is one of these. Private to core/git.
//
//     auto child = Child::start(request);
//     while (!child->hasEnded() || child->out().isOpen())
//         child->wait(stop, Child::Wants::Output, limit);
#pragma once

#include "core/git/process.h"
#include "core/git/spawn.h"

#include <chrono>
#include <memory>
#include <stop_token>
#include <string_view>

namespace espalier {

class Child {
  public:
    enum class Wants { Output, InputToo };

    // Starts request.argv; `input`, `stop` and `outputLimit` are the caller's affair. Errors: as run().
    static Result<Child> start(const ProcessRequest& request);
    Child(Child&& other) noexcept;
    Child& operator=(Child&&) = delete;
    // end(), when it still runs.
    ~Child();

    // Returns as soon as there is something to read or a pipe has closed, its input takes more (with InputToo), it has ended,
    // or `stop` was asked; at the latest after `most`.
    void wait(const std::stop_token& stop, Wants wants, std::chrono::milliseconds most);

    // Of one of the two pipes below: bytes moved. 0 when none are there now; the pipe is closed then if no more will come.
    std::size_t read(Fd& from, char* buffer, std::size_t size);
    // Bytes taken; 0 when it takes none now, its input is closed then if it never will.
    std::size_t write(std::string_view bytes);
    Fd& in();
    Fd& out();
    Fd& err();

    // Whether it has ended by itself or was ended; what it has left running does not count.
    bool hasEnded();
    // Once it has: its exit status, 128 and the signal's number when a signal ended it.
    int exitCode() const;
    // SIGTERM to it and all that it has started, SIGKILL to what is left of them two seconds later; returns when it is
    // gone. A program in the terminal's foreground group (ProcessRequest::interactive) is ended alone: the group is the
    // user's.
    void end();

  private:
    struct State;
    explicit Child(std::unique_ptr<State> state);
    std::unique_ptr<State> d;
};

} // namespace espalier

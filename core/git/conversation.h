// SPDX-License-Identifier: MIT
//
// An outside program that is talked with while it runs, such as ssh: what it says depends on what it is told. A program that
// only gets its input and gives its output is run() of process.h.
//
//     auto ssh = Conversation::start({.argv = {"ssh", "host", "git-upload-pack 'x'"}, .interactive = true});
//     ssh->write(bytes, progress); ssh->read(buffer, size, progress);
#pragma once

#include "core/git/process.h"
#include "core/git/progress.h"

#include <memory>
#include <string>
#include <string_view>

namespace espalier {

class Conversation {
  public:
    // `input`, `stop` and `outputLimit` of the request count for nothing here. Errors: as run().
    static Result<Conversation> start(const ProcessRequest& request);
    Conversation(Conversation&& other) noexcept;
    Conversation& operator=(Conversation&&) = delete;
    // Ends the program when it still runs, by force when it must be.
    ~Conversation();

    // Bytes of its standard output, 0 at the end, which is there as soon as the program is gone. Errors: Cancelled; Network
    // after five minutes of silence.
    Result<std::size_t> read(char* buffer, std::size_t size, const Progress& progress);
    // All of it. Errors: Cancelled; Network when the program is gone or its input was closed, or after five minutes of
    // silence.
    Result<void> write(std::string_view bytes, const Progress& progress);
    void closeInput();
    // Closes its input and waits for the end, ten seconds at most: what has not ended then is ended. The exit status, 128
    // and more for a signal.
    int wait();
    // What it wrote to standard error so far, at most the last 64 KiB.
    const std::string& errors() const { return m_errors; }

  private:
    struct State;
    explicit Conversation(std::unique_ptr<State> state);
    void drainErrors();
    template <typename Move> Result<std::size_t> move(const Progress& progress, bool writes, const Move& attempt);

    std::unique_ptr<State> d;
    std::string m_errors;
};

} // namespace espalier

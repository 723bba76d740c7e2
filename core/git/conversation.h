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
    // Ends the program when it still runs.
    ~Conversation();

    // Bytes of its standard output, 0 at the end. Errors: Cancelled; Network after five minutes of silence.
    Result<std::size_t> read(char* buffer, std::size_t size, const Progress& progress);
    // All of it. Errors: Cancelled; Network when the program is gone.
    Result<void> write(std::string_view bytes, const Progress& progress);
    void closeInput();
    // Waits for the end; the exit status, 128 and more for a signal.
    int wait();
    // What it wrote to standard error so far, at most the last 64 KiB.
    const std::string& errors() const { return m_errors; }

  private:
    Conversation();
    void drainErrors();
    Result<void> waitFor(int file, short events, const Progress& progress);

    struct State;
    std::unique_ptr<State> d;
    std::string m_errors;
};

} // namespace espalier

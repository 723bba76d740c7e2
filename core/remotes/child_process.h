// SPDX-License-Identifier: MIT
//
// Programs that git's own configuration has run at the same point: ssh, credential helpers, hooks. Private to core/remotes.
//
//     auto child = ChildProcess::start({.arguments = {"ssh", "host", "git-upload-pack 'x'"}});
//     child->write(bytes, progress); child->read(buffer, progress);
#pragma once

#include "core/git/error.h"
#include "core/git/progress.h"

#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace espalier {

struct ChildSpec {
    std::vector<std::string> arguments = {}; // the program, looked up in PATH, and what it gets
    std::filesystem::path folder = {};       // empty: this process's
    std::vector<std::pair<std::string, std::string>> environment = {}; // added to this process's
};

class ChildProcess {
  public:
    // Errors: NotFound when the program cannot be run.
    static Result<ChildProcess> start(const ChildSpec& spec);
    ChildProcess(ChildProcess&& other) noexcept;
    ChildProcess& operator=(ChildProcess&&) = delete;
    // Ends the program when it still runs.
    ~ChildProcess();

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
    ChildProcess() = default;
    void drainErrors();
    Result<void> waitFor(int file, short events, const Progress& progress);
    int m_in = -1, m_out = -1, m_err = -1;
    long m_pid = -1;
    std::string m_errors;
};

struct ChildResult {
    int exitCode = 0;
    std::string out, errors; // at most 1 MiB and 64 KiB
};
// Runs it to its end with `input`.
Result<ChildResult> runChild(const ChildSpec& spec, std::string_view input, const Progress& progress = {});

} // namespace espalier

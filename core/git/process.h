// SPDX-License-Identifier: MIT
//
// Runs an outside program where people who use git expect one: hooks, signing, filters, git itself.
// Arguments go to the program as they are; no shell unless shellCommand() asks for one.
//
//     auto ended = run({.argv = {"gpg", "--version"}});
//     if (ended && ended->ok()) … ended->out …
#pragma once

#include "core/git/error.h"

#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

struct ProcessRequest {
    std::vector<std::string> argv; // argv[0] is looked up in PATH when it has no slash
    // Set on top of this program's environment, nothing removes. GIT_DIR and its kin, which would point the program at
    // another repository, are removed unless they are set here.
    std::map<std::string, std::optional<std::string>> environment = {};
    std::filesystem::path folder = {}; // where it runs; empty: where this program runs
    std::string input = {};            // its standard input, then the end of it
    std::stop_token stop = {};
    std::size_t outputLimit = std::size_t(64) << 20; // bytes of either output; more is an error and ends the program
    // It may ask on the terminal, so it stays in the terminal's foreground group; a stop then ends only the program
    // itself, not what it started.
    bool interactive = false;
};

struct ProcessResult {
    int exitCode = 0; // 128 + number when a signal ended it, as a shell says it
    std::string out;
    std::string err;
    bool ok() const { return exitCode == 0; }
    // The last line that is not blank of its standard error, made safe to show; empty when there is none.
    std::string lastWords() const;
};

// Waits for its end. A program that ends with an error is a result, not an error. No file of this program but the three
// standard ones is open in it. Errors: NotFound (no such program), Storage (no pipe, no process), Broken (too much
// output), Cancelled (ended by SIGTERM, and SIGKILL two seconds later). `heard` gets its standard error as it comes, too.
Result<ProcessResult> run(const ProcessRequest& request, const std::function<void(std::string_view)>& heard = {});

// The argv that runs a command line out of git's configuration as git does (`sh -c`), with arguments behind it.
std::vector<std::string> shellCommand(const std::string& commandLine, const std::vector<std::string>& arguments = {});
// One word for a shell, whatever is in it.
std::string shellQuoted(std::string_view word);

} // namespace espalier

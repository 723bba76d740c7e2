// SPDX-License-Identifier: MIT
//
// The installed git, run for what is its own affair: talking to servers. It runs in the repository's folder (relative addresses
// are relative to that), with the user's environment and settings, and speaks English so that what it says can be understood.
//
//     auto ended = runGit({.arguments = {"ls-remote", "--symref", "--", "origin"}, .repository = &repository});
#pragma once

#include "core/git/process.h"
#include "core/git/repository.h"

#include <functional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace espalier {

struct GitRequest {
    std::vector<std::string> arguments;     // behind "git"
    const Repository* repository = nullptr; // null: in no repository
    // Settings for this run only. They go through the environment: nobody else sees them in a list of processes.
    std::vector<std::pair<std::string, std::string>> config = {};
    std::map<std::string, std::optional<std::string>> environment = {};
    std::string input = {};
    std::stop_token stop = {};
    bool interactive = false; // see ProcessRequest
};

// Whether there is a git in PATH that is new enough (2.31, 2021: settings through the environment). Looked at once for each PATH.
bool hasGit();

// Waits for its end; a git that fails is a result. Errors: as run().
Result<ProcessResult> runGit(const GitRequest& request, const std::function<void(std::string_view)>& heard = {});

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Merge drivers of the user's configuration (gitattributes(5), "Defining a custom merge driver"), and line ends as
// merge.renormalize wants them. Private to core/merge.
//
//     auto drivers = configuredDrivers(repository);
//     auto ran = runMergeDriver(repository, drivers["notes"], {"a.txt", base, newBase, commit, …}, progress);
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"

#include <map>
#include <string>
#include <string_view>

namespace espalier {

// merge.<name>.driver by <name>. They come from the configuration, never from what a commit brings.
std::map<std::string, std::string> configuredDrivers(const Repository& repository);

struct DriverInput {
    std::string path;
    std::string_view base, newBase, commit; // the three texts
    std::string newBaseLabel, commitLabel;
    int markerSize = 7;
};
struct DriverOutput {
    std::string text;
    bool clean = true; // false: the driver left a conflict in it
};
// Runs it in the worktree's root (a bare repository's folder) on files in a temporary folder. Errors: Refused with its last
// words when it failed; NotFound, Storage, Cancelled.
Result<DriverOutput> runMergeDriver(const Repository& repository, const std::string& command, const DriverInput& input,
                                    const Progress& progress);

// The text with LF for CR LF, as git stores it. `guessed`: not when it looks like something else than text.
std::string withPlainLines(std::string_view text, bool guessed);

} // namespace espalier

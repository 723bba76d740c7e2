// SPDX-License-Identifier: MIT
//
// Runs programs in a scene, with or without a fault at one of their calls (faults.cpp). No Qt: the tools use it too.
//
//     const Ran ran = run({"git", "status"}, folder);
//     const Ran torn = run({program, "update", clone}, folder, {.below = scene, .at = 17, .kind = "kill"});
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace espalier::test {

struct Fault {
    std::filesystem::path below = {}; // empty: nothing is counted
    unsigned at = 0;                  // 0: the calls are only counted
    std::string kind = {};            // see faults.cpp
    std::string command = {};         // for "run"
    std::filesystem::path log = {};
    long long clock = 1800000000; // what it says all the while, so that outcomes can be compared; 0: it goes
};

struct Ran {
    int exitCode = -1;  // -1 when a signal ended it
    int signal = 0;     // which
    bool hung = false;  // it had to be ended
    unsigned calls = 0; // that changed something, its children's too
    bool fired = false; // the fault happened
    std::string out, err;
    bool ok() const { return exitCode == 0; }
};

// Waits for the program and for all that it started. A clean environment; files for its output go to /tmp or TMPDIR.
Ran run(const std::vector<std::string>& argv, const std::filesystem::path& folder, const Fault& fault = {});
// The same by the shell; ends the process with a message when it fails: for building scenes.
std::string shell(const std::string& script, const std::filesystem::path& folder);

std::string readFile(const std::filesystem::path& path);
// The folder for scenes: TMPDIR, else /dev/shm where there is one (fsync costs nothing there), else /tmp.
std::filesystem::path scratchFolder();

} // namespace espalier::test

// SPDX-License-Identifier: MIT
//
// The commands without a window (README, "Commands"). Each reads its arguments, calls the same core as the window, and
// prints for people or, with --json, for programs.
//
//     if (isCommand(argc, argv))
//         return runCommand(argc, argv);     // needs no display
#pragma once

namespace espalier {

// Whether the first argument names a command, or asks for help or the version.
bool isCommand(int argc, char** argv);

// Exit status: 0 done (a dry run: clean), 1 a dry run has conflicts or a check refused, 2 an error, with one line on
// standard error.
int runCommand(int argc, char** argv);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The commands without a window (README, "Commands"). Each reads its arguments, calls the same core as the window, and
// prints for people or, with --json, for programs.
//
//     if (isCommand(argc, argv))
//         return runCommand(argc, argv);     // needs no display
#pragma once

namespace espalier {

// Whether this is for runCommand(): the first argument names a command, asks for help or the version, or is a slip that
// opens no window (an option, or a word that is no folder).
bool isCommand(int argc, char** argv);

// Exit status: 0 done (a dry run: clean), 1 a dry run has conflicts or a check refused, 2 an error, with one line on
// standard error; also when standard output did not take the answer.
int runCommand(int argc, char** argv);

} // namespace espalier

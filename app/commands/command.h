// SPDX-License-Identifier: MIT
//
// What one command is: its shape and its function. Private to app/commands.
#pragma once

#include "app/commands/arguments.h"
#include "core/keep/logbook.h"
#include "core/remotes/access.h"

#include <nlohmann/json.hpp>

#include <optional>
#include <string>

namespace espalier {

enum ExitStatus { exitDone = 0, exitNo = 1, exitError = 2 };

// Prints to standard output; an error is printed by the caller.
using CommandFunction = Result<ExitStatus> (*)(const Arguments&);

// What a command does to the repository that its first word names. One that fetches moves tracking refs and closes what a fetch
// can tell about, and may be run again as one that reads.
enum class Touches { Nothing, Reads, Fetches, Writes };

struct Command {
    CommandShape shape;
    CommandFunction run;
    Touches touches;
};

Result<ExitStatus> runSample(const Arguments& arguments);
Result<ExitStatus> runDrift(const Arguments& arguments);
Result<ExitStatus> runDryRun(const Arguments& arguments);
Result<ExitStatus> runReplay(const Arguments& arguments);
Result<ExitStatus> runUpdate(const Arguments& arguments);
Result<ExitStatus> runOverwriteCheck(const Arguments& arguments);
Result<ExitStatus> runPush(const Arguments& arguments);
Result<ExitStatus> runLogbook(const Arguments& arguments);
Result<ExitStatus> runRestore(const Arguments& arguments);
Result<ExitStatus> runPropose(const Arguments& arguments);
Result<ExitStatus> runLayout(const Arguments& arguments);

// An id in JSON: forty digits, null for zero or nothing.
nlohmann::json jsonId(const Oid& id);
nlohmann::json jsonId(const std::optional<Oid>& id);
// Text of a repository in JSON: UTF-8, other bytes as \xNN.
nlohmann::json jsonText(std::string_view bytes);
nlohmann::json jsonMoves(const std::vector<RefMove>& moves);
void printJson(const nlohmann::json& value);
// A line for people: control characters made visible.
void printLine(const std::string& line);
void printNotices(const std::vector<std::string>& notices); // on standard error

// Asks on the terminal, without echo for the secret; says no where there is none. Never trusts a host by itself.
Access terminalAccess();

} // namespace espalier

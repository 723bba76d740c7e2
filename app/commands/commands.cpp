// SPDX-License-Identifier: MIT
#include "app/commands/commands.h"

#include "app/commands/command.h"

#include <cstdio>

namespace espalier {

namespace {

const std::vector<Command>& commands()
{
    static const std::vector<Command> all{
        {{"sample", {"NAME", "DIR"}, {}, {"list", "json"}, "build a sample: DIR/upstream.git, fork.git and clone"},
         runSample},
        {{"drift", {"PATH"}, {}, {"json", "all-refs", "no-forecast"}, "how far each branch has drifted"}, runDrift},
        {{"dry-run",
          {"PATH"},
          {"branch", "onto", "threads"},
          {"json", "batch"},
          "what replaying --branch B --onto N would give; changes nothing"},
         runDryRun},
        {{"replay",
          {"PATH"},
          {"branch", "onto", "settle"},
          {"json"},
          "replay --branch B --onto N; --settle HOW decides all hunks"},
         runReplay},
        {{"update", {"PATH"}, {}, {"json"}, "fetch both remotes and bring the main line up to date"}, runUpdate},
        {{"overwrite-check", {"PATH"}, {"branch"}, {"json"}, "what a forced update of --branch B would replace"},
         runOverwriteCheck},
        {{"push", {"PATH"}, {"branch", "expect"}, {"json"}, "push --branch B; a forced update needs --expect ID"},
         runPush},
        {{"logbook", {"PATH"}, {}, {"json"}, "what Espalier changed here, newest first"}, runLogbook},
        {{"restore", {"PATH", "ENTRY"}, {}, {"json"}, "take an entry of the logbook back"}, runRestore},
        {{"layout", {"PATH"}, {}, {"bench", "json"}, "load and lay out everything; counts and times"}, runLayout},
    };
    return all;
}

const Command* findCommand(std::string_view name)
{
    for (const Command& command : commands())
        if (command.shape.name == name)
            return &command;
    return nullptr;
}

void printHelp()
{
    std::puts("Espalier brings a topic branch up to date with its upstream, and shows what that does.\n\n"
              "  espalier [PATH]                   opens the window");
    for (const Command& command : commands()) {
        std::string call = "espalier " + command.shape.name;
        for (const std::string& word : command.shape.words)
            call += ' ' + word;
        std::printf("  %-32s  %s\n", call.c_str(), command.shape.summary.c_str());
    }
    std::puts(
        "\nEvery command takes --json. dry-run --batch reads 'TIP ONTO' lines and answers each with a JSON line.\n"
        "HOW is new-base, your-commit, new-base-first or your-commit-first.\n"
        "Exit status: 0 done (a dry run: clean), 1 conflicts or a refusal, 2 an error.");
}

int report(const Error& error)
{
    std::fflush(stdout);
    std::fprintf(stderr, "espalier: %s\n", error.line().c_str());
    return error.kind == ErrorKind::Refused ? exitNo : exitError;
}

} // namespace

bool isCommand(int argc, char** argv)
{
    if (argc < 2)
        return false;
    const std::string_view first = argv[1];
    return first == "--help" || first == "-h" || first == "--version" || findCommand(first);
}

int runCommand(int argc, char** argv)
{
    const std::string_view first = argv[1];
    if (first == "--version") {
        std::puts("espalier " ESPALIER_VERSION);
        return exitDone;
    }
    const Command* command = findCommand(first);
    if (!command) {
        printHelp();
        return exitDone;
    }
    const auto arguments = Arguments::parse(command->shape, std::vector<std::string>(argv + 2, argv + argc));
    if (!arguments)
        return report(arguments.error());
    const Result<ExitStatus> status = command->run(*arguments);
    return status ? *status : report(status.error());
}

} // namespace espalier

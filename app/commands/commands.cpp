// SPDX-License-Identifier: MIT
#include "app/commands/commands.h"

#include "app/commands/command.h"
#include "core/keep/recover.h"

#include <cstdio>

namespace espalier {

namespace {

const std::vector<Command>& commands()
{
    static const std::vector<Command> all{
        {{"sample", {"NAME", "DIR"}, {}, {"list", "json"}, "build a sample: DIR/upstream.git, fork.git and clone"},
         runSample,
         Touches::Nothing},
        {{"drift", {"PATH"}, {}, {"json", "all-refs", "no-forecast"}, "how far each branch has drifted"},
         runDrift,
         Touches::Reads},
        {{"dry-run",
          {"PATH"},
          {"branch", "onto", "threads"},
          {"json", "batch"},
          "what replaying --branch B --onto N would give; changes nothing"},
         runDryRun,
         Touches::Reads},
        {{"replay",
          {"PATH"},
          {"branch", "onto", "settle"},
          {"json"},
          "replay --branch B --onto N; --settle HOW decides all hunks"},
         runReplay,
         Touches::Writes},
        {{"update", {"PATH"}, {}, {"json"}, "fetch both remotes and bring the main line up to date"},
         runUpdate,
         Touches::Writes},
        {{"overwrite-check", {"PATH"}, {"branch"}, {"json"}, "what a forced update of --branch B would replace"},
         runOverwriteCheck,
         Touches::Reads},
        {{"push", {"PATH"}, {"branch", "expect"}, {"json"}, "push --branch B; a forced update needs --expect ID"},
         runPush,
         Touches::Writes},
        {{"logbook",
          {"PATH"},
          {"expire", "forget"},
          {"json", "space"},
          "what Espalier changed here, newest first; --expire 90d, --forget ENTRY let go"},
         runLogbook,
         Touches::Reads},
        {{"restore", {"PATH", "ENTRY"}, {"expect"}, {"json"}, "take an entry of the logbook back"},
         runRestore,
         Touches::Writes},
        {{"layout", {"PATH"}, {}, {"bench", "json"}, "load and lay out everything; counts and times"},
         runLayout,
         Touches::Reads},
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

// Something may be half done since a crash. A command that writes finishes it first, and does nothing when it cannot; one
// that reads only says so.
bool settleOpenEntries(const Command& command, const Arguments& arguments)
{
    if (command.touches == Touches::Nothing || arguments.words() == 0)
        return true;
    // What is wrong with the path is the command's own to say.
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return true;
    if (command.touches == Touches::Reads) {
        printNotices(openEntryLines(*repository));
        return true;
    }
    const auto resolved = resolveOpenEntries(*repository);
    if (!resolved) {
        report(resolved.error());
        return false;
    }
    printNotices(resolved->lines);
    for (const HalfDone& open : resolved->halfDone)
        std::fprintf(stderr, "espalier: %s\n", open.line().c_str());
    return resolved->halfDone.empty();
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
    if (!settleOpenEntries(*command, *arguments))
        return exitError;
    const Result<ExitStatus> status = command->run(*arguments);
    return status ? *status : report(status.error());
}

} // namespace espalier

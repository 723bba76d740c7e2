// SPDX-License-Identifier: MIT
#include "app/commands/commands.h"

#include "app/commands/command.h"
#include "core/git/text.h"
#include "core/history/ref_reader.h"
#include "core/keep/recover.h"

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <numeric>

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
          {"json", "batch", "run-drivers"},
          "what replaying --branch B --onto N would give; changes nothing"},
         runDryRun,
         Touches::Reads},
        {{"replay",
          {"PATH"},
          {"branch", "onto", "settle"},
          {"json", "run-drivers", "by-lines"},
          "replay --branch B --onto N; --settle HOW decides all hunks"},
         runReplay,
         Touches::Writes},
        {{"update", {"PATH"}, {}, {"json"}, "fetch both remotes and bring the main line up to date"},
         runUpdate,
         Touches::Writes},
        {{"overwrite-check",
          {"PATH"},
          {"branch", "together"},
          {"json"},
          "what a forced update of --branch B, or of --together 'B C', would replace"},
         runOverwriteCheck,
         Touches::Fetches},
        {{"push",
          {"PATH"},
          {"branch", "expect", "together"},
          {"json"},
          "push --branch B; a forced update needs --expect ID; --together 'B:ID C:ID' all or none"},
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
        {{"propose",
          {"PATH"},
          {},
          {"batch", "json", "texts"},
          "settlements for the hunks of files given by lines, each with its reason"},
         runPropose,
         Touches::Reads},
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
        "--run-drivers runs the merge drivers of your configuration, --by-lines does without them.\n"
        "HOW is new-base, your-commit, new-base-first or your-commit-first; proposed takes what was settled before and "
        "what\n"
        "is proposed, and changes nothing where that leaves a hunk.\n"
        "Exit status: 0 done (a dry run: clean), 1 conflicts or a refusal, 2 an error.");
}

int report(const Error& error)
{
    (void)std::fflush(stdout);
    std::fprintf(stderr, "espalier: %s\n", error.line().c_str());
    return error.kind == ErrorKind::Refused ? exitNo : exitError;
}

// What was printed has to have arrived, else the command did not do what it was asked for.
int flushed(int status, Touches touches)
{
    errno = 0;
    const bool lost = std::fflush(stdout) != 0 || std::ferror(stdout) != 0;
    if (!lost)
        return status;
    const std::string reason = errno != 0 ? std::string(": ") + std::strerror(errno) : std::string();
    return report({ErrorKind::Storage, "The answer cannot be written" + reason, "standard output",
                   touches == Touches::Writes
                       ? "The command itself is done; espalier logbook PATH tells what it changed"
                       : "Write it to where there is space, and run the command again"});
}

// How many letters must be put in, taken out or changed to make one of the other (Levenshtein's distance).
std::size_t distance(std::string_view a, std::string_view b)
{
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t(0));
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = std::exchange(row[0], i);
        for (std::size_t j = 1; j <= b.size(); ++j)
            diagonal = std::exchange(
                row[j], std::min({row[j] + 1, row[j - 1] + 1, diagonal + std::size_t(a[i - 1] != b[j - 1])}));
    }
    return row.back();
}

Error unknownCommand(std::string_view word, int argc)
{
    std::error_code ignored;
    if (word.starts_with('-'))
        return {ErrorKind::Usage, "There is no such option", std::string(word), "See espalier --help"};
    if (argc > 2 && (word.contains('/') || std::filesystem::exists(word, ignored)))
        return {ErrorKind::Usage, "The window opens one repository; a command comes before its path", std::string(word),
                "See espalier --help"};
    const auto nearest = std::ranges::min_element(
        commands(), {}, [&](const Command& command) { return distance(word.substr(0, 64), command.shape.name); });
    const bool near = distance(word.substr(0, 64), nearest->shape.name) <= nearest->shape.name.size() / 2;
    return {ErrorKind::Usage, "Unknown command, and no such folder", std::string(word),
            near ? "Did you mean espalier " + nearest->shape.name + "? See espalier --help" : "See espalier --help"};
}

// The logbook is read, or entries of it are let go.
Touches touchesOf(const Command& command, const Arguments& arguments)
{
    const bool letsGo = command.run == runLogbook && (arguments.value("expire") || arguments.value("forget"));
    return letsGo ? Touches::Writes : command.touches;
}

// A pipe or device in the place of a ref would be waited for without end by whoever reads it next.
Result<void> checkRefFiles(Touches touches, const Arguments& arguments)
{
    if (touches == Touches::Nothing || arguments.words() == 0)
        return {};
    const auto repository = Repository::open(arguments.word(0));
    return repository ? checkRefsArePlain(*repository) : Result<void>();
}

// Something may be half done since a crash. A command that writes finishes it first, and does nothing when it cannot; one
// that reads only says so.
bool settleOpenEntries(Touches touches, const Arguments& arguments)
{
    if (touches == Touches::Nothing || arguments.words() == 0)
        return true;
    // What is wrong with the path is the command's own to say.
    const auto repository = Repository::open(arguments.word(0));
    if (!repository)
        return true;
    if (touches == Touches::Reads) {
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
    std::error_code error;
    // What opens the window is one path. Anything else is for a command, or was meant to be one.
    return argc > 2 || findCommand(first) || first.starts_with('-') ||
           (!first.contains('/') && !std::filesystem::exists(first, error));
}

int runCommand(int argc, char** argv)
{
    const std::string_view first = argv[1];
    if (first == "--version" || first == "--help" || first == "-h") {
        if (first == "--version")
            std::puts("espalier " ESPALIER_VERSION);
        else
            printHelp();
        return flushed(exitDone, Touches::Nothing);
    }
    const Command* command = findCommand(first);
    if (!command)
        return report(unknownCommand(first, argc));
    const auto arguments = Arguments::parse(command->shape, std::vector<std::string>(argv + 2, argv + argc));
    if (!arguments)
        return report(arguments.error());
    const Touches touches = touchesOf(*command, *arguments);
    // What it has done it says, in its status and to whoever still reads; one that only reads ends with its reader.
    if (touches == Touches::Writes)
        std::signal(SIGPIPE, SIG_IGN);
    if (const auto fits = checkRefFiles(touches, *arguments); !fits)
        return report(fits.error());
    if (!settleOpenEntries(touches, *arguments))
        return exitError;
    const Result<ExitStatus> status = command->run(*arguments);
    return status ? flushed(*status, touches) : report(status.error());
}

} // namespace espalier

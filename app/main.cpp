// SPDX-License-Identifier: MIT
//
// The program: runs a command, or turns into the window's program (see CMakeLists.txt for why they are two).
#include "app/commands/commands.h"
#include "core/remotes/ssh_questions.h"

#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include <fcntl.h>
#include <unistd.h>

namespace {

// Else the next file that is opened, one of a repository maybe, gets the number of what is missing, and all that is printed.
// Whoever writes to it then is told that it cannot be.
void openWhatIsMissing()
{
    for (const int number : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO})
        if (fcntl(number, F_GETFD) < 0 && open("/dev/null", O_RDONLY) < 0)
            std::abort();
}

} // namespace

int main(int argc, char** argv)
{
    openWhatIsMissing();
    if (const auto carried = espalier::carrySshQuestion(argc, argv))
        return *carried;
    if (espalier::isCommand(argc, argv))
        return espalier::runCommand(argc, argv);
    std::error_code error;
    const auto folder = std::filesystem::read_symlink("/proc/self/exe", error).parent_path();
    // Beside it where it was built, in its own folder where it is installed.
    for (const auto& place : {folder, folder / ESPALIER_WINDOW_FOLDER})
        execv((place / "espalier-window").c_str(), argv);
    std::fprintf(stderr, "espalier: The window cannot be opened: %s. Install Espalier again\n",
                 (folder / ESPALIER_WINDOW_FOLDER / "espalier-window").lexically_normal().c_str());
    return 2;
}

// SPDX-License-Identifier: MIT
//
// The program: runs a command, or turns into the window's program (see CMakeLists.txt for why they are two).
#include "app/commands/commands.h"
#include "core/remotes/ssh_questions.h"

#include <cstdio>
#include <filesystem>

#include <unistd.h>

int main(int argc, char** argv)
{
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

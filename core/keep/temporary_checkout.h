// SPDX-License-Identifier: MIT
//
// The files of a tree in a folder of its own, for looking at them with other programs, and a command of the user's that is run
// there. The folder is no worktree: nothing in it leads to the repository, and it is gone, with all that was made in it, when
// the command has ended.
//
//     Result<CheckEnded> ended = runCheck({path, objects, tree, "make test"}, heard, progress);   // on a worker thread
//     ended->exitCode == 0
#pragma once

#include "core/git/objects.h"
#include "core/git/progress.h"

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

namespace espalier {

struct CheckRequest {
    std::filesystem::path repository;          // see Repository::open
    std::shared_ptr<const NewObjects> objects; // of a dry run, where the tree is not in the repository yet; may be null
    Oid tree;
    std::string command; // a command line for the shell, as the user wrote it; never one out of a repository
};

struct CheckEnded {
    int exitCode = 0; // as a shell says it: 128 + number where a signal ended it
    // What could not be removed afterwards; empty when all is gone, as it should be.
    std::filesystem::path left;
};

// Files are written as a checkout would write them into the user's worktree, filters and line ends by its attributes; of a
// submodule there is the empty folder. `heard` gets what the command writes, both of its outputs in order, as it comes. The
// command has no terminal and no input, and git in it finds no repository above the folder. Errors: Refused (a path that no
// worktree may have), Storage, Broken (a damaged object; or it wrote more than 64 MB), Cancelled: it is ended then with all that
// it started, the folder is gone too.
Result<CheckEnded> runCheck(const CheckRequest& request, const std::function<void(std::string_view)>& heard,
                            const Progress& progress);

} // namespace espalier

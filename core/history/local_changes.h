// SPDX-License-Identifier: MIT
//
// How many files of the worktree are not as the last commit has them, and which: counted for the window, which shows it beside
// the branch that is checked out, and read when somebody looks at them.
//
//     Result<LocalChanges> changes = countLocalChanges(repository, progress);
//     changes->words(); // "3 changed, 1 staged, 2 untracked"
//     Result<LocalFiles> files = readLocalFiles(repository, {}, progress);
//     files->files[0].change.hunks; // against the index
#pragma once

#include "core/git/progress.h"
#include "core/git/repository.h"
#include "core/history/changes.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

// A file can count twice: staged, and changed again since.
struct LocalChanges {
    std::size_t changed = 0;    // in the worktree against the index
    std::size_t staged = 0;     // in the index against the last commit; a renamed file is one
    std::size_t conflicted = 0; // unmerged, and nothing else
    std::size_t untracked = 0;  // a folder with nothing tracked in it is one, what is ignored is none

    bool any() const { return changed + staged + conflicted + untracked > 0; }
    // The worst first: "1 conflicted, 3 changed, 1 staged, 2 untracked"; empty when all is as committed.
    std::string words() const;
    friend bool operator==(const LocalChanges&, const LocalChanges&) = default;
};

// What `git status --ignore-submodules=all` lists, counted. Writes nothing, the index neither. All zero for a bare
// repository. Errors: Broken (the index cannot be read), Cancelled.
Result<LocalChanges> countLocalChanges(const Repository& repository, const Progress& progress = {});

enum class LocalKind : std::uint8_t {
    Conflicted, // the worktree's file against the index's own side; all of it is new where that side has none
    Changed,    // the worktree against the index
    Staged,     // the index against the last commit
    Untracked,  // all of its lines are new; a folder has none, and a slash at its end
};
struct LocalFile {
    LocalKind kind = LocalKind::Changed;
    FileChange change;
};
struct LocalFiles {
    std::vector<LocalFile> files; // in the order of the kinds, each by path
    LocalChanges counts;          // of all, also of those that are not among `files`
    bool truncated = false;       // more than `maxFiles`
};

// The same files as countLocalChanges() counts, with their lines. Writes nothing. Errors: Broken, Cancelled.
Result<LocalFiles> readLocalFiles(const Repository& repository, const ChangesOptions& options = {},
                                  const Progress& progress = {});

// The folders that hold tracked files, the worktree's own first and deeper ones later, at most `most`: what to watch to hear
// of changes. Empty for a bare repository and where the index cannot be read.
std::vector<std::filesystem::path> trackedFolders(const Repository& repository, std::size_t most);

} // namespace espalier

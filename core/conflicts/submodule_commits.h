// SPDX-License-Identifier: MIT
//
// What the two commits of a submodule are that a conflict names: their subjects, and what each has that the other has not. They are
// looked for where git keeps the submodule's repository; it is read, and nothing of its configuration is run.
//
//     SubmoduleSides sides = submoduleSides(repository, name, "part", newBaseId, commitId, progress);
//     sides.newBase.words;         // "at 2222222 Oil the hinge; 2 commits that your commit's has not"
//     sides.newBase.lines;         // "2222222 Oil the hinge (Mira Holt, 2024-03-01)\n…"
#pragma once

#include "core/git/oid.h"
#include "core/git/progress.h"
#include "core/git/repository.h"

#include <string>
#include <string_view>

namespace espalier {

struct SubmoduleSide {
    std::string words; // behind the name, one safe line
    std::string
        lines; // the commits that only this side has, newest first; when there are none, its own one. Safe to show
};
struct SubmoduleSides {
    SubmoduleSide newBase, commit;
};

// The name of the section that has this path; empty where there is none. Source: git's gitmodules and config documentation.
// libgit2 reads such a file only from the disk or for the commit that is checked out; this one is of a tree.
std::string submoduleName(std::string_view gitmodules, std::string_view path);

// `gitmodules` is the contents of .gitmodules, which names the submodule at `path`; empty where there is none. Where the repository
// is not at hand, or lacks a commit, the words say so. A zero id: that side has no submodule there.
SubmoduleSides submoduleSides(const Repository& repository, std::string_view gitmodules, const std::string& path,
                              const Oid& newBase, const Oid& commit, const Progress& progress = {});

} // namespace espalier

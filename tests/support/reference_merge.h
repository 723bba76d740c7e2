// SPDX-License-Identifier: MIT
//
// What git says of merges: `git merge-tree --write-tree --stdin`, the reference for core/merge.
#pragma once

#include "tests/support/random_history.h"

#include <set>

namespace espalier::test {

struct ReferenceMerge {
    bool clean = false;
    std::string tree; // empty: git stopped at an assertion of its own
    bool answered() const { return !tree.empty(); }
    std::vector<std::string> stages; // "mode id stage\tpath", in git's order
};

// git reads attributes from the worktree, or from HEAD where there is none; core/merge from the new base. `OfNewBase` tells git
// to look there, which takes a process a merge.
enum class ReadAttributes : std::uint8_t { Nowhere, OfNewBase };

// Whether git lists a file and a folder of one name, which cannot be: it does not notice when a renamed directory brings one.
bool listsFileAndFolder(const ReferenceMerge& merge);

std::vector<ReferenceMerge> referenceMerges(const TempRepository& repository, const std::vector<MergeCase>& cases,
                                            ReadAttributes attributes = ReadAttributes::Nowhere);

// The same merge by core/merge, told with the labels that git uses. Empty: they agree; otherwise what differs. Trees are
// compared where the merge is clean, and in marker form too unless `cleanTreesOnly`; stages always.
struct Comparison {
    int clean = 0, conflicts = 0;
    int gitIsWrong = 0; // left out of what follows: git stopped, wrote a tree that cannot be, or lost files
    std::vector<std::string> whereGitIsWrong; // where it did not stop: "base -- new base commit"
    int fewerStages = 0;                  // git listed the same paths, one of them without the stages of its old name
    std::vector<std::string> differences; // a line each
};
Comparison compareMerges(const TempRepository& repository, const std::vector<MergeCase>& cases,
                         bool cleanTreesOnly = false, ReadAttributes attributes = ReadAttributes::Nowhere);

} // namespace espalier::test

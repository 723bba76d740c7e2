// SPDX-License-Identifier: MIT
//
// Invented histories as mean as real ones: many files of one name, whole folders that move with edits, files split, copied
// and swapped, names that differ in case only or are no UTF-8, CR LF, missing last line ends, binary and empty files,
// symlinks, submodules, attributes, and a new base that has gone far. The same seed gives the same repository everywhere.
//
//     TempRepository repo(TempRepository::Bare);
//     for (const MergeCase& merge : projectMerges(repo, ProjectKnobs::of(seed))) …
#pragma once

#include "tests/support/random_history.h"

namespace espalier::test {

struct ProjectKnobs {
    std::uint64_t seed = 1;
    int merges = 100;
    int files = 40;
    int farChanges = 20;   // of the new base, at most
    int nearChanges = 5;   // of a commit, at most
    int alikePercent = 50; // of the lines of two files of one name
    int movesPercent = 30; // of changes that rename, move, copy or split
    int kindPercent = 10;  // of changes that turn one kind of thing into another
    bool attributes = false;
    bool submodules = false;
    bool bigFiles = false;
    std::vector<std::pair<std::string, std::string>> config; // of the repository

    // The shapes take turns by seed.
    static ProjectKnobs of(std::uint64_t seed);
};

// Writes the configuration too.
std::vector<MergeCase> projectMerges(const TempRepository& into, const ProjectKnobs& knobs);

// Topic branches: `tip` has `commits` of its own, oldest first, above `base`; `onto` has gone on from there.
struct TopicCase {
    std::string base, onto, tip;
    std::vector<std::string> commits;
};
std::vector<TopicCase> projectTopics(const TempRepository& into, const ProjectKnobs& knobs);

} // namespace espalier::test

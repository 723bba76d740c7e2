// SPDX-License-Identifier: MIT
//
// The text of a recipe taken apart. The format is described for people in sample-repos/README.md; in short:
//
//     summary One conflict in code, one in prose
//     person ana Ana Duarte <ana@harbour.example> +0100
//     me mira
//     commit start by ana at 2026-03-02 09:10
//       subject Start the almanac page
//       write docs/units.md
//       | # Units
//     commit feet after start by mira at 2026-03-03 18:40
//       subject Heights in feet
//       replace docs/units.md
//       - # Units
//       + # Units of height
//     ref upstream main feet
//     ref clone topic/x feet
//     checkout topic/x
#pragma once

#include "core/git/commit.h"
#include "core/git/error.h"
#include "core/tree/entry.h"

#include <map>
#include <string>
#include <vector>

namespace espalier {

struct RecipeEdit {
    enum Kind { Write, Replace, Delete, Move, Mode, Link, Carry, Submodule } kind = Write;
    std::string path;
    std::string target;           // Move: new path; Link: target; Carry: label; Mode: "executable" or "plain"
    std::string oldText, newText; // Replace; newText is also what Write writes
    int line = 0;                 // of the recipe, for error messages
};

struct RecipeCommit {
    std::string label;
    std::vector<std::string> parents;
    Person author, committer;
    std::string message;
    std::vector<RecipeEdit> edits;
    int line = 0;
};

struct RecipeRef {
    // "upstream", "fork", "clone", or "seen-upstream", "seen-fork" for what the clone has last fetched.
    std::string place;
    std::string name; // "refs/heads/main", "refs/tags/v2.3"
    std::string label;
    int line = 0;
};

struct Recipe {
    std::string summary;
    std::string me; // key of the person whose clone it is
    std::map<std::string, Person> people;
    std::vector<RecipeCommit> commits;
    std::vector<RecipeRef> refs;
    std::string checkout = "main";              // branch of the clone
    std::map<std::string, std::string> changes; // uncommitted in the worktree: path, contents
    std::vector<std::string> remotes{"upstream", "fork"};
};

// `include` names another recipe, whose text `find` returns (empty: not found).
// Errors: Usage with the line number and what was expected there.
Result<Recipe> parseRecipe(const std::string& text, std::string (*find)(const std::string& name));

} // namespace espalier

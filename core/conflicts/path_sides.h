// SPDX-License-Identifier: MIT
//
// What each side of a conflict of a whole path has there, to be looked at before one of them is chosen: a file's bytes,
// what is in a folder, where a link leads.
//
//     Result<PathSides> sides = pathSides(store, run.commits[4], run.commits[4].conflicts[0], "doc/notes");
//     sides->newBase.words;                // "Nothing: it is deleted here"
#pragma once

#include "core/git/objects.h"
#include "core/replay/dry_run.h"
#include "core/tree/entry.h"

#include <string>

namespace espalier {

struct PathSide {
    FileMode mode = FileMode::None; // None: nothing; Tree: a folder
    Oid id;                         // zero: nothing
    std::string path;               // bytes; where the side has it
    std::string words;              // one safe line: "notes, a file of 12 lines"
    std::string contents;           // a file's bytes (what is UTF-16 as UTF-8), a link's target and what is there, the
                                    // paths in a folder, the commits of a submodule, a line each; else empty
    std::string target;             // of a link
    bool binary = false;            // `contents` are bytes that are no text
    bool image = false;             // and can be drawn
    bool exists() const { return mode != FileMode::None; }
};

struct PathSides {
    PathSide ancestor, newBase, commit;
};

// `path` is where people know the conflict to be (ConflictText::path). Errors: Broken (a missing or damaged object).
Result<PathSides> pathSides(ObjectStore& store, const ReplayedCommit& replayed, const Conflict& conflict,
                            const std::string& path, const Progress& progress = {});

} // namespace espalier

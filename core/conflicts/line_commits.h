// SPDX-License-Identifier: MIT
//
// Who changed these lines: the commits between two places of history that changed given lines of a file, all of them.
//
//     LineHistory asked{.tip = plan.onto, .commits = ways->onlyRight, .path = "doc/tides.md", .lines = {{11, 2}}};
//     Result<std::vector<std::vector<Oid>>> found = commitsThatChanged(store, table, asked);
//     found->front();                                   // newest first; empty: nobody did
#pragma once

#include "core/merge/text_merge.h"
#include "core/replay/commit_table.h"

#include <string>
#include <vector>

namespace espalier {

struct LineHistory {
    Oid tip;                      // whose file the lines are of
    std::vector<Oid> commits;     // what may be named; a walk ends where it leaves them
    std::string path;             // bytes; in the tip's tree
    std::string earlierPath;      // where the file stood before it was renamed; empty: nowhere else
    std::vector<LineRange> lines; // a range of no lines asks for what was taken out there
};

// One list for each range, in the order of `rev-list --topo-order`. What a merge commit took over from one of its parents
// is looked for there alone; where it changed the lines itself it is named too, and all its parents are asked. A commit
// that took lines out at the very edge of a range counts: there they were. Nothing for a path that the tip does not have.
// Source: `git log -L` (common practice), which it agrees with but for such edges.
// Errors: Broken (a missing or damaged object), Cancelled.
Result<std::vector<std::vector<Oid>>> commitsThatChanged(ObjectStore& store, CommitTable& table,
                                                         const LineHistory& asked, const Progress& progress = {});

// Where the lines of a text stood in the text it was made from, and whether the making changed them.
struct LinesBefore {
    LineRange lines;
    bool changed = false;
};
// One for each range of `now`; one that was put in as a whole has no lines before.
std::vector<LinesBefore> linesBefore(std::string_view before, std::string_view now,
                                     const std::vector<LineRange>& lines);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What one commit changed in a conflicting file, to be read beside the hunk: lines with a few around them.
//
//     Result<CommitChange> change = commitChange(store, who.newBase[0].id, {text.path});
//     change->rows[0].text;
#pragma once

#include "core/git/objects.h"
#include "core/merge/line_match.h"

#include <string>
#include <vector>

namespace espalier {

struct ChangeRow {
    ChangedLine::Kind kind = ChangedLine::Same;
    std::string text; // bytes without a line end
    int number = 0;   // 1-based, in the new file; of a removed line in the old one
    bool gap = false; // lines are left out here; nothing else is filled
};
struct CommitChange {
    std::string path, earlierPath; // bytes; the second where the commit renamed the file
    std::vector<ChangeRow> rows;   // none for what is no text
    std::size_t otherFiles = 0;    // that the commit changes
    std::string words;             // one safe line where there are no rows: why
};

// Against the first parent. `paths` are names that the file may have had then; the first of them that the commit changes counts.
// Errors: Broken (a missing or damaged object), Cancelled.
Result<CommitChange> commitChange(ObjectStore& store, const Oid& id, const std::vector<std::string>& paths,
                                  const Progress& progress = {});

} // namespace espalier

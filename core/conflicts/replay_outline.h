// SPDX-License-Identifier: MIT
//
// All that a replay asks, as one list: its commits with conflicts, their files, the hunks, and what of it is answered. Known from the
// dry run and the decisions alone, without reading a file; and what of one dry run's answers holds no longer in the next.
//
//     const std::vector<CommitOutline> all = replayOutline(*run, settlements);
//     all[0].files[1].hunks[0].choice;
//     for (const CommitOutline& commit : newlyOpen(before, all)) …
#pragma once

#include "core/conflicts/conflict_text.h"
#include "core/conflicts/settled_remarks.h"

#include <optional>
#include <string>
#include <vector>

namespace espalier {

struct HunkOutline {
    std::optional<LineRange> lines; // in the commit's file; none for a whole path and in a form of its own
    std::optional<Choice> choice;   // none where it is not known before the file has been read
};
struct FileOutline {
    SettlementKey key;
    std::string path; // as ConflictText::path
    bool wholePath = false, ownChange = false;
    std::vector<HunkOutline> hunks;
    std::size_t undecided = 0, again = 0; // as Conflict has them
    std::vector<Remark> remarks;          // what looks wrong in what it was settled to
};
struct CommitOutline {
    std::size_t commit = 0; // index into the run's
    Oid id;
    std::string subject; // bytes
    std::vector<FileOutline> files;
    std::size_t undecided() const;
    std::size_t questions() const;
    std::size_t again() const;
    std::size_t remarks() const;
};

// Each question once, in order. Commits without conflicts are left out. `remarks` are those of the run that were not answered.
std::vector<CommitOutline> replayOutline(const DryRun& run, const Settlements& settlements,
                                         const std::vector<FileRemarks>& remarks = {});

// What is to be looked at again in `now` and was not in `before`: commits with the files that are so.
std::vector<CommitOutline> newlyOpen(const std::vector<CommitOutline>& before, const std::vector<CommitOutline>& now);

} // namespace espalier

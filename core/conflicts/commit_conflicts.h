// SPDX-License-Identifier: MIT
//
// The conflicts of one commit of a dry run as the settle page walks them: each question once (a file that was renamed twice
// is three conflicts and one question), with what was decided before for the same hunks.
//
//     Result<CommitConflicts> read = readConflicts(path, run, commit, progress);     // on a worker thread
//     read->settlement(0, settlements);
#pragma once

#include "core/conflicts/hunk_offer.h"
#include "core/settle/remembered.h"

#include <memory>
#include <string>
#include <vector>

namespace espalier {

struct OneConflict {
    ConflictText text;
    std::vector<std::pair<SettlementKey, FileSettlement>>
        together;                                 // undecided; settled with this one, by the same choice
    std::vector<std::optional<HunkOffer>> offers; // a hunk each: what was settled for it before
    bool again = false; // it was settled for other texts: what is undecided must be looked at again
};

// A question: index of the file, and of the piece in its settlement.
struct ConflictPlace {
    int file = -1, piece = -1;
    friend auto operator<=>(const ConflictPlace&, const ConflictPlace&) = default;
};

class CommitConflicts {
  public:
    std::size_t commit = 0;
    std::vector<OneConflict> files;

    // What is decided of a file: settlements of other texts hold hunk by hunk.
    FileSettlement settlement(std::size_t file, const Settlements& all) const;
    // Everything a choice for a whole path settles.
    std::vector<std::pair<SettlementKey, FileSettlement>> decidedWhole(std::size_t file, Choice choice) const;
    // What waits for the user (isOpen), in order.
    std::vector<ConflictPlace> undecided(const Settlements& all) const;
    // Answered or not: FileSettlement::questions.
    std::size_t questions(const Settlements& all) const;
    // Whether the run's conflicts of this commit are the ones that were read: the same paths with the same three inputs.
    bool standsFor(const DryRun& run) const;

  private:
    friend Result<CommitConflicts> readConflicts(const std::string& path, const std::shared_ptr<const DryRun>& run,
                                                 std::size_t commit, const Progress& progress);
    struct Input {
        std::string path;
        Oid ancestor, newBase, commit;
        FileForm form;
        std::vector<HunkCut> cuts;
        friend bool operator==(const Input&, const Input&) = default;
    };
    static std::vector<Input> inputsOf(const ReplayedCommit& commit);
    Oid m_id;
    std::vector<Input> m_inputs;
};

// Reads the conflicts of a commit of the run, which may have none, out of the repository at `path`. Errors: of opening
// it, Broken (a missing or damaged object), Cancelled.
Result<CommitConflicts> readConflicts(const std::string& path, const std::shared_ptr<const DryRun>& run,
                                      std::size_t commit, const Progress& progress);

// What the decisions of a replay are kept under.
ReplayKey replayKey(const Plan& plan);

} // namespace espalier

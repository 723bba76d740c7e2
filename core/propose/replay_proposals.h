// SPDX-License-Identifier: MIT
//
// Proposals for the hunks of a replay: the repository's own past merges below the new base speak, and what was decided in this
// very replay.
//
//     ReplayProposals proposals(repository);
//     auto offers = proposals.offersFor(conflicts, run, decided, progress);
//     (*offers)[0][2]->reason;                   // of the first file's third hunk
#pragma once

#include "core/conflicts/commit_conflicts.h"
#include "core/propose/proposer.h"

#include <optional>
#include <vector>

namespace espalier {

// A file's: a hunk each.
using FileOffers = std::vector<std::optional<HunkOffer>>;

// One thread only.
class ReplayProposals {
  public:
    // `repository` must outlive it.
    explicit ReplayProposals(const Repository& repository);

    // For each file of `conflicts`, which must be of `run`, as many answers as it has hunks; none for a whole path. `decided` are
    // the user's own decisions: what else was taken without being looked at would only confirm itself. The first call for a new
    // base looks through its past merges, which can take a while. Errors: as Proposer::propose.
    Result<std::vector<FileOffers>> offersFor(const CommitConflicts& conflicts, const DryRun& run,
                                              const Settlements& decided, const Progress& progress = {});

  private:
    Result<void> learn(const DryRun& run, const Settlements& decided, const Progress& progress);

    const Repository* m_repository;
    Proposer m_proposer;
    std::optional<Settlements> m_learnt;
};

} // namespace espalier

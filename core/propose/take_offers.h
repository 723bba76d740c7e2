// SPDX-License-Identifier: MIT
//
// A replay settled without anybody looking: what was settled before, and what is proposed. The rest stays undecided, and then the
// replay is not clean and cannot be applied.
//
//     auto taken = takeOffers(repository, plan, progress);
//     taken->run->clean; taken->hunks.size();
#pragma once

#include "core/propose/replay_proposals.h"

#include <memory>
#include <string>
#include <vector>

namespace espalier {

struct TakenHunk {
    Oid commit;
    std::string path;
    std::size_t hunk = 0; // of that file
    HunkOffer offer;
};

struct TakenOffers {
    Settlements settlements;
    std::shared_ptr<const DryRun> run; // with them
    std::vector<TakenHunk> hunks;      // in the order in which they were taken
};

// Of a commit that depends on an undecided one nothing is taken: what meets there is not known yet. Errors: as dryRun and
// Proposer::propose.
Result<TakenOffers> takeOffers(const Repository& repository, const Plan& plan, const Progress& progress = {});

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a dry run means, in sentences: for the page, and testable without one.
//
//     meaningOf(run, forkCopyOf(*snapshot, drift, run.plan));
//     // "4 commits become 3. The fork's copy will need a forced update: 3 commits of yours replaced, none of anyone else's."
#pragma once

#include "app/session/session.h"

#include <QString>
#include <QStringList>

namespace espalier {

// How the fork's branch of the same name stands to the replayed one.
struct ForkCopy {
    bool known = false; // a fork is set, and the plan names a branch
    bool exists = false;
    std::size_t replaced = 0;  // of the planned commits, those that the fork's branch has
    std::size_t otherOwn = 0;  // the user's commits that only the fork's branch has
    std::size_t foreign = 0;   // somebody else's
    bool fastForwards = false; // a plain push will do
    bool onUpstream = false;   // a branch of upstream reaches planned commits
    bool isMainLine = false;
};
ForkCopy forkCopyOf(const Snapshot& snapshot, const Drift* drift, const DryRun& run);

QString meaningOf(const DryRun& run, const ForkCopy& copy);
// What to think about before applying; empty when there is nothing.
QStringList cautionsOf(const DryRun& run, const ForkCopy& copy);

// "✓ clean", "▲ conflict", "▲ 2 of 3 hunks settled", "− left out", …
QString outcomeText(const DryRun& run, std::size_t index);
// "core/height.cpp: 2 hunks", "same change in 4c19d02; left out", …
QString detailText(const DryRun& run, std::size_t index);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a dry run means, in sentences: for the page, and testable without one.
//
//     meaningOf(run, forkCopyOf(repository, snapshot, run).value());
//     // "4 commits become 3. The fork's copy will need a forced update: 3 commits replaced by their new versions, none without
//     // a counterpart."
#pragma once

#include "core/replay/fork_copy.h"

#include <QString>
#include <QStringList>

namespace espalier {

QString meaningOf(const DryRun& run, const ForkCopy& copy);
// What to think about before applying; empty when there is nothing.
QStringList cautionsOf(const DryRun& run, const ForkCopy& copy);

// "✓ clean", "▲ conflict", "▲ 2 of 3 hunks settled", "− left out", …
QString outcomeText(const DryRun& run, std::size_t index);
// "core/height.cpp: 2 hunks", "same change in 4c19d02; left out", …
QString detailText(const DryRun& run, std::size_t index);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The result of a dry run as the graph draws it before anything exists: the new commits, oldest first, standing on the
// new base.
#pragma once

#include "core/replay/dry_run.h"

#include <QList>
#include <QMetaType>
#include <QString>

namespace espalier {

struct GhostCommit {
    Oid original;
    QString subject; // made safe to show
    Outcome outcome = Outcome::Clean;
};

struct ReplayGhost {
    Oid onto;      // zero: no ghost
    QString label; // "topic/x"
    QList<GhostCommit> commits;
    bool isEmpty() const { return onto.isZero(); }
};

// Only what stands in the result: neither landed, empty, left out nor folded commits.
ReplayGhost ghostOf(const DryRun& run);

} // namespace espalier
Q_DECLARE_METATYPE(espalier::ReplayGhost)

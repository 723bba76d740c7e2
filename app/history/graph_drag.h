// SPDX-License-Identifier: MIT
//
// What a drag out of the graph carries, and where it may be dropped.
#pragma once

#include "app/support/drag.h"
#include "core/history/snapshot.h"

#include <QString>

#include <optional>
#include <vector>

namespace espalier {

// The whole branch of a label. Nothing for refs that are not the clone's branches: those are not the user's to move.
std::optional<DragSource> dragOfRef(const Snapshot& snapshot, int ref);
// One commit, or a range: rows newest first, each on the first-parent line of the one before. Nothing when they are not in
// one line, or when one is a root.
std::optional<DragSource> dragOfRows(const Snapshot& snapshot, const std::vector<Row>& rows);
// A branch of the clone that reaches the row: HEAD's, else the one with the nearest tip; -1 when none does.
int branchHolding(const Snapshot& snapshot, Row row);

DropTarget targetAt(const Snapshot& snapshot, Row row, int ref, const QString& subject);
// Whether a replay there can make sense: the target is not inside what is dragged.
bool mayDrop(const Snapshot& snapshot, const DragSource& source, const Oid& target);

} // namespace espalier

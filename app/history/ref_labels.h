// SPDX-License-Identifier: MIT
//
// The labels of a row: a pill for each ref, its place told by colour, by shape (upstream square, fork cut, clone round, tag
// pointed) and, for remote branches, by a word. What is checked out is filled.
#pragma once

#include "core/history/snapshot.h"

#include <QFont>
#include <QPainter>
#include <QPalette>
#include <QString>

#include <vector>

namespace espalier {

struct RefLabel {
    int ref = -1;      // index into Snapshot::refs; -1: "+3", the ones there is no room for
    QString text;
    QRectF rect;
};

// The labels of a row that fit into `room` from its left edge, vertically in its middle. Empty for a row without refs.
std::vector<RefLabel> placeLabels(const Snapshot& snapshot, Row row, const QFont& font, const QRectF& room);
void paintLabel(QPainter& painter, const Snapshot& snapshot, const RefLabel& label, const QFont& font,
                const QPalette& palette, bool isTarget);
QFont labelFont(const QFont& font);

} // namespace espalier

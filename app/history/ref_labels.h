// SPDX-License-Identifier: MIT
//
// The labels of a row: a pill for each ref, its place told by colour, by shape (upstream square, fork cut, clone round, tag
// pointed) and, for remote branches, by a word. What is checked out is filled.
#pragma once

#include "core/history/snapshot.h"

#include <QFont>
#include <QFontMetricsF>
#include <QPainter>
#include <QPalette>
#include <QString>

#include <vector>

namespace espalier {

struct RefLabel {
    int ref = -1; // index into Snapshot::refs; -1: "+3", the ones there is no room for, or a word about the commit
    QString text;
    QRectF rect;
};

// The labels of a row that fit into `room` from its left edge, vertically in its middle: its refs, and what is not as it was
// made (see alterations). Empty for most rows.
std::vector<RefLabel> placeLabels(const Snapshot& snapshot, Row row, const QFontMetricsF& metrics, const QRectF& room);

// What labels are painted with; looked up once, not for each label.
struct LabelLook {
    LabelLook() = default;
    LabelLook(const QFont& font, const QPalette& palette);
    QFont font; // of the labels, smaller and bolder than the rows'
    QFontMetricsF metrics{QFont()};
    std::array<QColor, 3> place, tint;
    QColor quiet, base;
};
void paintLabel(QPainter& painter, const Snapshot& snapshot, const RefLabel& label, const LabelLook& look,
                bool isTarget);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Above the list: a heading for each band (name, address, last fetched) and for each column.
#pragma once

#include "app/history/graph_painter.h"

#include <QWidget>

namespace espalier {

class GraphHeader : public QWidget {
    Q_OBJECT
  public:
    explicit GraphHeader(QWidget* parent = nullptr) : QWidget(parent) { setAccessibleName(tr("Bands and columns")); }

    void setSnapshot(const SnapshotPtr& snapshot);
    void setLayout(const GraphGeometry& geometry, const Columns& columns);
    QSize sizeHint() const override;
    QSize minimumSizeHint() const override { return {0, sizeHint().height()}; }

  protected:
    void paintEvent(QPaintEvent* event) override;
    bool event(QEvent* event) override;

  private:
    // "harbour-lab/tidebook, fetched 2 minutes ago"
    QString about(Place place) const;
    QString fetched(Place place) const;

    SnapshotPtr m_snapshot;
    GraphGeometry m_geometry;
    Columns m_columns;
};

} // namespace espalier

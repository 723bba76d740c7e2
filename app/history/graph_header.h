// SPDX-License-Identifier: MIT
//
// Above the list: a heading for each band (name, address, last fetched) and for each column. The columns' edges are dragged
// with the pointer, or chosen with Left and Right and moved with Shift; a double click or Backspace puts one back.
#pragma once

#include "app/history/graph_list.h"

#include <QWidget>

namespace espalier {

class GraphHeader : public QWidget {
    Q_OBJECT
  public:
    explicit GraphHeader(QWidget* parent = nullptr);

    void setSnapshot(const SnapshotPtr& snapshot);
    void setLayout(const GraphGeometry& geometry, const Columns& columns);
    QSize sizeHint() const override;
    QSize minimumSizeHint() const override { return {0, sizeHint().height()}; }

  Q_SIGNALS:
    void edgeMoved(espalier::ColumnEdge edge, int x);
    void edgeReset(espalier::ColumnEdge edge);

  protected:
    void paintEvent(QPaintEvent* event) override;
    bool event(QEvent* event) override;
    void keyPressEvent(QKeyEvent* event) override;
    void mousePressEvent(QMouseEvent* event) override;
    void mouseMoveEvent(QMouseEvent* event) override;
    void mouseReleaseEvent(QMouseEvent* event) override;
    void mouseDoubleClickEvent(QMouseEvent* event) override;

  private:
    // The edges that are there now, from left to right, and where.
    std::vector<std::pair<ColumnEdge, int>> edges() const;
    std::optional<ColumnEdge> edgeAt(int x) const;
    void paintEdges(QPainter& painter) const;
    // "harbour-lab/tidebook, fetched 2 minutes ago"
    QString about(Place place) const;
    QString fetched(Place place) const;

    SnapshotPtr m_snapshot;
    GraphGeometry m_geometry;
    Columns m_columns;
    std::optional<ColumnEdge> m_dragged;
    int m_grip = 0;                          // from the pointer to the edge it holds
    ColumnEdge m_chosen = ColumnEdge::Lanes; // by keyboard
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Where things stand in the picture, in device-independent pixels, from the font and the lanes that are needed.
//
//     GraphGeometry geometry(fontMetrics(), lanes->widths(first, last), 0, width());
//     geometry.x({Place::Fork, 2});            // the middle of a lane
#pragma once

#include "core/lanes/lanes.h"

#include <QFontMetrics>
#include <QRectF>

namespace espalier {

class GraphGeometry {
  public:
    GraphGeometry() = default;
    // `ghostLanes` more lanes are kept free at the right of the clone's band. Lanes move closer together when the bands
    // would take more than `part` of `available`.
    GraphGeometry(const QFontMetrics& metrics, std::array<std::uint16_t, 3> lanes, int ghostLanes, int available,
                  double part = usualPart);
    static constexpr double usualPart = 0.46;

    int rowHeight() const { return m_rowHeight; }
    int gap() const { return m_gap; }
    int graphWidth() const { return m_left[3]; }
    int bandLeft(Place band) const { return m_left[std::size_t(band)]; }
    int bandWidth(Place band) const { return m_left[std::size_t(band) + 1] - bandLeft(band); }
    qreal x(LanePosition position) const;
    // The lane kept for ghosts.
    LanePosition ghostPosition() const { return sparePosition(0); }
    // Of the lanes that are kept free, from the left.
    LanePosition sparePosition(int number) const { return {Place::Clone, std::uint16_t(m_lanes[2] + number)}; }
    qreal lineWidth() const { return m_lineWidth; }
    // The presence mark around a node's middle, and one of its three cells.
    QRectF mark(QPointF middle) const;
    QRectF cell(QPointF middle, Place place) const;
    qreal bend() const { return m_rowHeight * 0.46; }

  private:
    int m_rowHeight = 28;
    int m_gap = 8;
    int m_cellWidth = 11, m_cellHeight = 5;
    qreal m_pitch = 15;
    qreal m_lineWidth = 2;
    std::array<std::uint16_t, 3> m_lanes{};
    std::array<qreal, 3> m_firstLane{};
    std::array<int, 4> m_left{};
};

} // namespace espalier

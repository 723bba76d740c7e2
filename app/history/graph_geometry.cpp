// SPDX-License-Identifier: MIT
#include "app/history/graph_geometry.h"

#include <QCoreApplication>

#include <cmath>

namespace espalier {

GraphGeometry::GraphGeometry(const QFontMetrics& metrics, std::array<std::uint16_t, 3> lanes, int ghostLanes,
                             int available, double part)
    : m_lanes(lanes)
{
    const int height = metrics.height();
    m_rowHeight = std::max(20, int(std::lround(height * 1.85)));
    m_gap = std::max(4, height / 2);
    m_cellWidth = std::max(7, int(std::lround(height * 0.7)));
    m_cellHeight = std::max(3, int(std::lround(height * 0.25)));
    m_lineWidth = std::max(2.0, std::round(height / 8.0));
    const int ghosts = std::max(0, ghostLanes);
    const int all = std::max(1, lanes[0] + lanes[1] + lanes[2] + ghosts);
    const qreal comfortable = m_cellWidth * 1.7;
    const qreal room = std::max(0.0, available * part - 12.0 * m_gap);
    m_pitch = std::clamp(room / all, std::min(comfortable, m_cellWidth * 0.6), comfortable);
    int left = 0;
    for (std::size_t band = 0; band < 3; ++band) {
        const int count = lanes[band] + (band == 2 ? ghosts : 0);
        const qreal content = count == 0 ? 0 : (count - 1) * m_pitch + m_cellWidth;
        const int heading = metrics.horizontalAdvance(QLatin1String(band == 0   ? "upstream"
                                                                    : band == 1 ? "fork"
                                                                                : "clone"));
        // A heading is set a little bolder than the metrics say.
        const int width = std::max(int(std::ceil(content)) + 5 * m_gap, int(heading * 1.15) + 4 * m_gap);
        m_left[band] = left;
        m_firstLane[band] = std::floor(left + (width - content) / 2.0 + m_cellWidth / 2.0) + 0.5;
        left += width;
    }
    m_left[3] = left;
}

qreal GraphGeometry::x(LanePosition position) const
{
    return m_firstLane[std::size_t(position.band)] + std::round(position.lane * m_pitch);
}

QRectF GraphGeometry::mark(QPointF middle) const
{
    const qreal height = 3 * m_cellHeight + 2;
    return {middle.x() - m_cellWidth / 2.0, middle.y() - height / 2.0, qreal(m_cellWidth), height};
}

QRectF GraphGeometry::cell(QPointF middle, Place place) const
{
    const QRectF whole = mark(middle);
    return {whole.x(), whole.y() + int(place) * (m_cellHeight + 1), whole.width(), qreal(m_cellHeight)};
}

} // namespace espalier

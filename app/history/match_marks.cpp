// SPDX-License-Identifier: MIT
#include "app/history/match_marks.h"

#include "app/support/theme.h"

#include <QPainter>

namespace espalier {

void MatchMarks::setMatches(std::vector<int> rows, int rowCount)
{
    m_rows = std::move(rows);
    m_rowCount = rowCount;
    update();
}

void MatchMarks::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    painter.fillRect(rect(), palette().color(QPalette::Base));
    const QColor colour = theme::warning(palette());
    int lastY = -1;
    for (int row : m_rows) {
        const int y = int(qint64(row) * std::max(1, height() - 2) / std::max(1, m_rowCount));
        if (y == lastY)
            continue;
        lastY = y;
        painter.fillRect(QRect(1, y, width() - 2, 2), colour);
    }
}

} // namespace espalier

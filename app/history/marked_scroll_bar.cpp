// SPDX-License-Identifier: MIT
#include "app/history/marked_scroll_bar.h"

#include "app/support/theme.h"

#include <QPainter>
#include <QStyle>
#include <QStyleOptionSlider>

namespace espalier {

void MarkedScrollBar::setMarks(std::vector<int> rows, int rowCount)
{
    m_rows = std::move(rows);
    m_rowCount = rowCount;
    update();
}

QRect MarkedScrollBar::groove() const
{
    QStyleOptionSlider option;
    initStyleOption(&option);
    return style()->subControlRect(QStyle::CC_ScrollBar, &option, QStyle::SC_ScrollBarGroove, this);
}

std::vector<int> MarkedScrollBar::markedHeights() const
{
    const QRect inside = groove();
    std::vector<int> heights;
    for (const int row : m_rows) {
        const int y = inside.top() + int(qint64(row) * std::max(1, inside.height() - 2) / std::max(1, m_rowCount));
        if (heights.empty() || heights.back() != y) heights.push_back(y);
    }
    return heights;
}

void MarkedScrollBar::paintEvent(QPaintEvent* event)
{
    QScrollBar::paintEvent(event);
    if (m_rows.empty())
        return;
    // In the right half, so that the slider below stays in sight.
    QPainter painter(this);
    const int left = width() / 2;
    for (const int y : markedHeights())
        painter.fillRect(QRect(left, y, width() - left - 1, 2), theme::warning(palette()));
}

} // namespace espalier

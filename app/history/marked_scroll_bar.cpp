// SPDX-License-Identifier: MIT
#include "app/history/marked_scroll_bar.h"

#include "app/support/theme.h"

#include <QPainter>
#include <QStyle>
#include <QStyleOptionSlider>

#include <algorithm>
#include <ranges>

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

std::map<int, int> MarkedScrollBar::marks() const
{
    const QRect inside = groove();
    std::map<int, int> counts;
    for (const int row : m_rows)
        ++counts[inside.top() + int(qint64(row) * std::max(1, inside.height() - 2) / std::max(1, m_rowCount))];
    return counts;
}

void MarkedScrollBar::paintEvent(QPaintEvent* event)
{
    QScrollBar::paintEvent(event);
    // Where everything is a match, a mark says nothing.
    if (m_rows.empty() || int(m_rows.size()) >= m_rowCount)
        return;
    QPainter painter(this);
    const std::map<int, int> counts = marks();
    const int most = std::ranges::max(counts | std::views::values);
    // Few marks are all plain to see; when they run into each other, paler where there are fewer, and narrow, so that the
    // slider below stays in sight.
    const bool dense = int(counts.size()) > height() / 3;
    const int left = dense ? width() * 2 / 3 : width() / 2;
    for (const auto& [y, count] : counts) {
        QColor colour = theme::warning(palette());
        if (dense)
            colour.setAlphaF(0.25f + 0.75f * float(count) / float(most));
        painter.fillRect(QRect(left, y, width() - left, dense ? 1 : 2), colour);
    }
}

} // namespace espalier

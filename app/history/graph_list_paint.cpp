// SPDX-License-Identifier: MIT
#include "app/history/graph_list.h"

#include "app/history/graph_drag.h"
#include "app/history/words.h"
#include "app/support/drop_words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QPainter>

namespace espalier {

void GraphList::paintRowBacks(QPainter& painter, const std::vector<ViewRow>& rows) const
{
    const int left = m_painter.geometry().graphWidth();
    const int width = viewport()->width() - left;
    const int height = m_painter.geometry().rowHeight();
    for (const ViewRow& row : rows) {
        if (row.display < 0 && !row.local)
            continue;
        const QRect text(left, row.top, width, height);
        QColor back;
        if (row.local ? m_onLocal : m_selected.contains(row.display) || row.display == m_current)
            back = theme::selectionTint(palette());
        else if (row.local ? m_hoversLocal : row.display == m_hover.display)
            back = theme::hoverTint(palette());
        if (back.isValid()) {
            painter.fillRect(text, back);
            back.setAlpha(110);
            painter.fillRect(QRect(0, row.top, left, height), back);
        }
        if (m_dragged && !row.local && (row.display == m_target.display || row.display == m_refused.display)) {
            const bool allowed = row.display == m_target.display;
            const QColor line = allowed ? theme::place(Place::Clone, palette()) : theme::quiet(palette());
            if (allowed)
                painter.fillRect(QRect(0, row.top, viewport()->width(), height),
                                 theme::placeTint(Place::Clone, palette()));
            painter.fillRect(QRect(0, row.top, viewport()->width(), 1), line);
            painter.fillRect(QRect(0, row.top + height - 1, viewport()->width(), 1), line);
        }
    }
}

void GraphList::paintEvent(QPaintEvent*)
{
    QPainter painter(viewport());
    m_painter.setNow(QDateTime::currentDateTime());
    m_painter.paintBands(painter, viewport()->rect());
    if (!m_model->snapshot())
        return;
    const std::vector<ViewRow> rows = visibleRows();
    paintRowBacks(painter, rows);
    m_painter.paintGraph(painter, *m_model, m_ghost, m_ghostDisplay, m_local, rows);
    const Columns at = columns();
    for (const ViewRow& row : rows) {
        if (row.ghost >= 0)
            m_painter.paintGhostTexts(painter, m_ghost, row, at);
        else if (row.local)
            m_painter.paintLocalTexts(painter, m_local, row, at);
        else
            m_painter.paintTexts(painter, *m_model, row, at, std::ranges::binary_search(m_matches, row.display),
                                 m_dragged && row.display == m_target.display ? m_target.ref : -1);
    }
    if (hasFocus() && (m_current >= 0 || isOnLocalRow())) {
        painter.setRenderHint(QPainter::Antialiasing, false);
        painter.setPen(QPen(palette().color(QPalette::Highlight), 1));
        painter.setBrush(Qt::NoBrush);
        painter.drawRect((m_current >= 0 ? rectOf(m_current) : rectOfLocalRow())
                             .adjusted(m_painter.geometry().graphWidth(), 0, -1, -1));
    }
    if (m_dragged && m_target.display >= 0) {
        const QPointF node(m_painter.geometry().x(m_model->lanes()->position(std::size_t(m_target.display))),
                           rectOf(m_target.display).center().y());
        m_painter.paintPreview(painter, node, m_previewCommits);
    }
    if (m_dragged && (m_target.display >= 0 || m_refused.display >= 0))
        paintHint(painter);
}

QString GraphList::dropWords() const
{
    const Hover& over = m_target.display >= 0 ? m_target : m_refused;
    if (!m_dragged || over.display < 0)
        return {};
    const DisplayRow shown = m_model->lanes()->displayed(std::size_t(over.display));
    if (shown.gap)
        return tr("%1: wait here to open them").arg(gapWords(shown));
    const RowSummary* summary = m_model->summary(over.display);
    // A row with branches is known by their names, as in the dry run.
    int ref = over.ref;
    for (const int at : m_model->snapshot()->refsAt(shown.row))
        if (ref < 0 || (over.ref < 0 && at == m_model->snapshot()->mainLine))
            ref = at;
    const DropTarget onto = targetAt(*m_model->snapshot(), shown.row, ref, summary ? summary->subject : QString());
    const DropAnswer answer = answerDrop(*m_model->snapshot(), *m_dragged, onto);
    if (!answer.allowed || !m_dragged->wholeBranch || m_previewCommits < 1)
        return answer.words;
    return tr("%1: %2").arg(answer.words, toText(counted(std::size_t(m_previewCommits), "commit", "commits")));
}

// What a drop would do, beside the row while something hovers there: below it, since the ghost stands above, and to the right
// of the lanes, where no ghost is drawn.
void GraphList::paintHint(QPainter& painter) const
{
    const bool allowed = m_target.display >= 0;
    QString words = dropWords();
    const QFont bold = theme::sized(font(), 1.0, true);
    const QFontMetrics metrics(bold);
    const int gap = m_painter.geometry().gap();
    words = metrics.elidedText(words, Qt::ElideRight, std::max(120, viewport()->width() - 8 * gap));
    const int width = metrics.horizontalAdvance(words) + 3 * gap;
    const int height = m_painter.geometry().rowHeight();
    const QRect target = rectOf(allowed ? m_target.display : m_refused.display);
    const int x =
        std::clamp(m_painter.geometry().graphWidth() + gap, gap, std::max(gap, viewport()->width() - width - gap));
    const bool below = target.bottom() + height + 2 * gap < viewport()->height();
    const QRectF box(x + 0.5, (below ? target.bottom() + 3 : target.top() - height - 3) + 0.5, width, height);
    painter.setRenderHint(QPainter::Antialiasing, true);
    const QColor ink = allowed ? theme::place(Place::Clone, palette()) : theme::quiet(palette());
    painter.setPen(QPen(ink, 1.5));
    painter.setBrush(theme::card(palette()));
    painter.drawRoundedRect(box, height / 2.0, height / 2.0);
    painter.setFont(bold);
    painter.setPen(ink);
    painter.drawText(box, Qt::AlignCenter | Qt::TextSingleLine, words);
}

} // namespace espalier

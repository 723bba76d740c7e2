// SPDX-License-Identifier: MIT
#include "app/history/graph_header.h"

#include "app/history/words.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QHelpEvent>
#include <QKeyEvent>
#include <QToolTip>

namespace espalier {

GraphHeader::GraphHeader(QWidget* parent) : QWidget(parent)
{
    setAccessibleName(tr("Bands and columns"));
    setFocusPolicy(Qt::TabFocus);
    setMouseTracking(true);
}

void GraphHeader::setSnapshot(const SnapshotPtr& snapshot)
{
    m_snapshot = snapshot;
    const QString keys = tr("Left and Right choose a column's edge, with Shift they move it, Backspace puts it back.");
    setAccessibleDescription(snapshot ? about(Place::Upstream) + QLatin1Char('\n') + about(Place::Fork) +
                                            QLatin1Char('\n') + about(Place::Clone) + QLatin1Char('\n') + keys
                                      : QString());
    update();
}

void GraphHeader::setLayout(const GraphGeometry& geometry, const Columns& columns)
{
    m_geometry = geometry;
    m_columns = columns;
    update();
}

QSize GraphHeader::sizeHint() const
{
    const QFontMetrics bold(theme::sized(font(), 1.0, true)), small(theme::sized(font(), 0.82));
    return {200, bold.height() + small.height() + 2 * (bold.height() / 3)};
}

QString GraphHeader::fetched(Place place) const
{
    const Remote* remote = m_snapshot ? remoteOf(*m_snapshot, place) : nullptr;
    if (!remote)
        return {};
    return remote->lastFetched > 0 ? relativeTime(remote->lastFetched) : tr("never fetched");
}

QString GraphHeader::about(Place place) const
{
    if (!m_snapshot)
        return {};
    if (place == Place::Clone)
        return tr("clone: %1").arg(toText(m_snapshot->path));
    const Remote* remote = remoteOf(*m_snapshot, place);
    if (!remote)
        return tr("%1: no remote plays this part").arg(placeWord(place));
    const QString when =
        remote->lastFetched > 0 ? tr("fetched %1").arg(relativeTime(remote->lastFetched)) : tr("never fetched");
    return tr("%1: %2, %3").arg(placeWord(place), toText(remote->url), when);
}

void GraphHeader::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    painter.fillRect(rect(), palette().color(QPalette::Base));
    const QFont bold = theme::sized(font(), 1.0, true), small = theme::sized(font(), 0.82);
    const QFontMetrics boldMetrics(bold), smallMetrics(small);
    const int top = boldMetrics.height() / 3;
    for (int at = 0; at < 3; ++at) {
        const auto place = Place(at);
        const QRect band(m_geometry.bandLeft(place), 0, m_geometry.bandWidth(place), height());
        painter.fillRect(band, theme::placeTint(place, palette()));
        painter.setFont(bold);
        painter.setPen(theme::place(place, palette()));
        painter.drawText(QRect(band.left(), top, band.width(), boldMetrics.height()), Qt::AlignCenter,
                         placeWord(place));
        // Second line: address and time where there is room for both, else the time, else nothing (the tooltip has all).
        const Remote* remote = m_snapshot ? remoteOf(*m_snapshot, place) : nullptr;
        const QString when = fetched(place);
        QStringList candidates;
        if (remote)
            candidates << shortAddress(remote->url) + QStringLiteral(" \u00b7 ") + when << when;
        if (place == Place::Clone && m_snapshot)
            candidates << toText(m_snapshot->name);
        painter.setFont(small);
        painter.setPen(theme::quiet(palette()));
        for (const QString& words : candidates)
            if (smallMetrics.horizontalAdvance(words) <= band.width() - m_geometry.gap()) {
                painter.drawText(QRect(band.left(), top + boldMetrics.height(), band.width(), smallMetrics.height()),
                                 Qt::AlignCenter | Qt::TextSingleLine, words);
                break;
            }
    }
    painter.setFont(font());
    painter.setPen(theme::quiet(palette()));
    const auto heading = [&](int x, int width, const QString& words) {
        if (width > 0)
            painter.drawText(QRect(x, 0, width, height()), Qt::AlignVCenter | Qt::AlignLeft, words);
    };
    heading(m_columns.subject, m_columns.subjectWidth, tr("Subject"));
    heading(m_columns.author, m_columns.authorWidth, tr("Author"));
    heading(m_columns.date, m_columns.dateWidth, tr("Date"));
    painter.setPen(theme::cardBorder(palette()));
    painter.drawLine(0, height() - 1, width(), height() - 1);
    paintEdges(painter);
}

std::vector<std::pair<ColumnEdge, int>> GraphHeader::edges() const
{
    std::vector<std::pair<ColumnEdge, int>> found;
    if (!m_snapshot)
        return found;
    found.emplace_back(ColumnEdge::Lanes, m_geometry.graphWidth());
    if (m_columns.authorWidth > 0)
        found.emplace_back(ColumnEdge::Author, m_columns.author);
    if (m_columns.dateWidth > 0)
        found.emplace_back(ColumnEdge::Date, m_columns.date);
    return found;
}

std::optional<ColumnEdge> GraphHeader::edgeAt(int x) const
{
    for (const auto& [edge, at] : edges())
        if (std::abs(at - m_geometry.gap() / 2 - x) <= m_geometry.gap() * 3 / 4)
            return edge;
    return std::nullopt;
}

void GraphHeader::paintEdges(QPainter& painter) const
{
    const int third = height() / 3;
    for (const auto& [edge, at] : edges()) {
        const bool chosen = m_dragged == edge || (hasFocus() && m_chosen == edge);
        painter.setPen(
            QPen(chosen ? palette().color(QPalette::Highlight) : theme::cardBorder(palette()), chosen ? 3 : 1));
        const int x = at - m_geometry.gap() / 2;
        painter.drawLine(x, chosen ? 2 : third, x, chosen ? height() - 3 : height() - third);
    }
}

void GraphHeader::keyPressEvent(QKeyEvent* event)
{
    const auto all = edges();
    const auto chosen = std::ranges::find(all, m_chosen, &std::pair<ColumnEdge, int>::first);
    const int way = event->key() == Qt::Key_Left ? -1 : event->key() == Qt::Key_Right ? 1 : 0;
    if (chosen == all.end() || (way == 0 && event->key() != Qt::Key_Backspace)) {
        if (chosen == all.end())
            m_chosen = ColumnEdge::Lanes; // its column is hidden now
        QWidget::keyPressEvent(event);
        return;
    }
    if (way == 0)
        Q_EMIT edgeReset(m_chosen);
    else if (event->modifiers() & Qt::ShiftModifier)
        Q_EMIT edgeMoved(m_chosen, chosen->second + way * 2 * m_geometry.gap());
    else if (const auto next = (chosen - all.begin()) + way; next >= 0 && std::size_t(next) < all.size())
        m_chosen = all[std::size_t(next)].first;
    update();
}

void GraphHeader::mousePressEvent(QMouseEvent* event)
{
    m_dragged = event->button() == Qt::LeftButton ? edgeAt(event->position().toPoint().x()) : std::nullopt;
    if (!m_dragged)
        return;
    for (const auto& [edge, at] : edges())
        if (edge == *m_dragged)
            m_grip = at - event->position().toPoint().x();
    m_chosen = *m_dragged;
    update();
}

void GraphHeader::mouseMoveEvent(QMouseEvent* event)
{
    const int x = event->position().toPoint().x();
    if (m_dragged)
        Q_EMIT edgeMoved(*m_dragged, x + m_grip);
    else
        setCursor(edgeAt(x) ? Qt::SplitHCursor : Qt::ArrowCursor);
}

void GraphHeader::mouseReleaseEvent(QMouseEvent*)
{
    m_dragged.reset();
    update();
}

void GraphHeader::mouseDoubleClickEvent(QMouseEvent* event)
{
    if (const auto edge = edgeAt(event->position().toPoint().x()))
        Q_EMIT edgeReset(*edge);
}

bool GraphHeader::event(QEvent* event)
{
    if (event->type() == QEvent::FocusIn || event->type() == QEvent::FocusOut)
        update();
    if (event->type() != QEvent::ToolTip)
        return QWidget::event(event);
    const auto* help = static_cast<QHelpEvent*>(event);
    for (int at = 0; at < 3; ++at) {
        const int left = m_geometry.bandLeft(Place(at));
        if (help->pos().x() >= left && help->pos().x() < left + m_geometry.bandWidth(Place(at)))
            QToolTip::showText(help->globalPos(), toToolTip(about(Place(at))), this);
    }
    return true;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/support/drop_spot.h"

#include "app/support/theme.h"

#include <QDragEnterEvent>
#include <QMimeData>
#include <QPainter>

namespace espalier {

DropSpot::DropSpot(Place place, QWidget* parent) : QWidget(parent), m_place(place)
{
    setAcceptDrops(true);
    hide();
}

void DropSpot::offer(const DragSource& source, const DropTarget& target, const DropAnswer& answer)
{
    m_source = source;
    m_target = target;
    m_answer = answer;
    m_hovered = false;
    setAccessibleName(answer.words);
    raise();
    show();
    update();
}

void DropSpot::withdraw()
{
    m_hovered = false;
    hide();
}

void DropSpot::paintEvent(QPaintEvent*)
{
    QPainter painter(this);
    painter.setRenderHint(QPainter::Antialiasing, true);
    const QColor hue = theme::place(m_place, palette());
    const QColor back = m_answer.allowed && m_hovered ? theme::placeTint(m_place, palette()) : theme::card(palette());
    QPen line(m_answer.allowed ? hue : theme::cardBorder(palette()), m_hovered && m_answer.allowed ? 3 : 1.5);
    if (!m_hovered || !m_answer.allowed)
        line.setStyle(Qt::DashLine);
    painter.setPen(line);
    painter.setBrush(back);
    const qreal inset = line.widthF() / 2 + 0.5;
    painter.drawRoundedRect(QRectF(rect()).adjusted(inset, inset, -inset, -inset), 6, 6);
    painter.setFont(theme::sized(font(), 1.0, m_answer.allowed));
    painter.setPen(m_answer.allowed ? palette().color(QPalette::WindowText) : theme::quiet(palette()));
    const int pad = theme::gap(this);
    const QRect room = rect().adjusted(pad, 2, -pad, -2);
    const QFontMetrics metrics(painter.font());
    // Names may be longer than two lines of a card; whole lines are kept, never half a line.
    const int lines = std::max(1, room.height() / metrics.lineSpacing());
    const QString words =
        metrics.elidedText(m_answer.words, Qt::ElideMiddle, lines == 1 ? room.width() : lines * room.width() * 9 / 10);
    painter.drawText(room, int(Qt::AlignCenter) | int(lines == 1 ? Qt::TextSingleLine : Qt::TextWordWrap), words);
}

void DropSpot::dragEnterEvent(QDragEnterEvent* event)
{
    if (!decodeDrag(event->mimeData()))
        return;
    // Taken also where nothing may be dropped, so that the pointer's leaving is heard of.
    event->acceptProposedAction();
    m_hovered = true;
    update();
}

void DropSpot::dragMoveEvent(QDragMoveEvent* event)
{
    if (!m_answer.allowed) {
        event->ignore();
        return;
    }
    event->setAccepted(true);
}

void DropSpot::dragLeaveEvent(QDragLeaveEvent*)
{
    m_hovered = false;
    update();
}

void DropSpot::dropEvent(QDropEvent* event)
{
    m_hovered = false;
    const auto source = decodeDrag(event->mimeData());
    if (!source || !m_answer.allowed)
        return;
    event->acceptProposedAction();
    QMetaObject::invokeMethod(
        this, [this, source = *source, onto = m_target] { Q_EMIT dropped(source, onto); }, Qt::QueuedConnection);
}

} // namespace espalier

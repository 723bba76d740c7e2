// SPDX-License-Identifier: MIT
#include "app/drift/drift_delegate.h"

#include "app/drift/drift_model.h"
#include "app/support/theme.h"

#include <QPainter>

#include <cmath>

namespace espalier {

namespace {

QColor toneColour(DriftTone tone, const QPalette& palette)
{
    switch (tone) {
    case DriftTone::Quiet:
        return theme::quiet(palette);
    case DriftTone::Good:
        return theme::success(palette);
    case DriftTone::Warning:
        return theme::warning(palette);
    case DriftTone::Loss:
        return theme::danger(palette);
    default:
        return palette.color(QPalette::Text);
    }
}

// Bars grow with the square root: one commit stays visible beside a thousand. What is beyond the axis fills the room.
int barLength(std::uint32_t value, std::uint32_t most, int room)
{
    if (value == 0 || most == 0)
        return 0;
    return std::max(3, int(std::lround(std::sqrt(double(std::min(value, most)) / double(most)) * room)));
}

void drawText(QPainter* painter, const QRect& room, Qt::Alignment alignment, const QString& text, const QColor& colour,
              Qt::TextElideMode mode = Qt::ElideRight)
{
    painter->setPen(colour);
    painter->drawText(room, int(alignment | Qt::AlignVCenter | Qt::TextSingleLine),
                      painter->fontMetrics().elidedText(text, mode, room.width()));
}

void drawBar(QPainter* painter, const QRect& room, int axis, const DriftRow& row, const DriftModel& model,
             const QPalette& palette)
{
    const QFontMetrics metrics(painter->font());
    const int height = std::max(6, metrics.height() * 2 / 3);
    const int top = room.center().y() - height / 2;
    const QString behind = QString::number(row.behind), ahead = QString::number(row.ahead);
    const int space = metrics.height() / 3;
    // The numbers are never cut: the bars take what they leave.
    const int widest = metrics.horizontalAdvance(
        QString::number(std::max({row.behind, row.ahead, model.maxBehind(), model.maxAhead(), 10000u})));
    const int left = barLength(row.behind, model.maxBehind(), std::max(3, axis - room.left() - widest - space));
    const int right = barLength(row.ahead, model.maxAhead(), std::max(20, (room.right() - axis) / 3 - widest));
    painter->setPen(Qt::NoPen);
    painter->setBrush(theme::place(Place::Upstream, palette));
    // Behind is hollow, ahead is solid: the two tell apart without colour.
    if (left > 0) {
        QColor wash = theme::place(Place::Upstream, palette);
        wash.setAlphaF(0.35f);
        painter->setBrush(wash);
        painter->setPen(theme::place(Place::Upstream, palette));
        painter->drawRect(QRect(axis - left, top, left - 1, height - 1));
        painter->setPen(Qt::NoPen);
    }
    painter->setBrush(row.landed ? theme::quiet(palette) : theme::place(row.place, palette));
    painter->drawRect(QRect(axis, top, right, height));
    painter->setPen(QPen(palette.color(QPalette::Text), 1.4));
    painter->drawLine(axis, top - 3, axis, top + height + 2);
    painter->setFont(theme::sized(painter->font(), 0.9));
    const QRect line(room.left(), room.top(), axis - left - space - room.left(), room.height());
    drawText(painter, line, Qt::AlignRight, behind, palette.color(QPalette::Text));
    drawText(painter, QRect(axis + right + space, room.top(), widest, room.height()), Qt::AlignLeft, ahead,
             palette.color(QPalette::Text));
}

} // namespace

DriftDelegate::DriftDelegate(const DriftModel* model, QObject* parent) : QStyledItemDelegate(parent), m_model(model) {}

int DriftDelegate::axisAt(int width) { return width * 3 / 10; }

QSize DriftDelegate::sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const
{
    const int line = option.fontMetrics.height();
    const DriftRow& row = m_model->row(index.row());
    if (row.heading)
        return {line * 14, line * 2};
    return {line * 14, line * 2 + line * 5 / 4 + (row.changes.isEmpty() ? 0 : line * 5 / 4)};
}

void DriftDelegate::paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const
{
    const DriftRow& row = m_model->row(index.row());
    const QPalette& palette = option.palette;
    const int line = option.fontMetrics.height();
    const int pad = line * 3 / 5;
    painter->save();
    painter->setRenderHint(QPainter::Antialiasing);
    painter->setFont(option.font);
    if (row.heading) {
        painter->setFont(theme::sized(option.font, 0.9, true));
        drawText(painter, option.rect.adjusted(pad, line / 3, -pad, 0), Qt::AlignLeft, row.text, theme::quiet(palette));
        painter->restore();
        return;
    }
    const QRect card = option.rect.adjusted(pad / 3, 1, -pad / 3, -1);
    const bool selected = option.state & QStyle::State_Selected;
    if (selected || option.state & QStyle::State_MouseOver) {
        painter->setBrush(selected ? theme::selectionTint(palette) : theme::hoverTint(palette));
        painter->setPen(option.state & QStyle::State_HasFocus && selected
                            ? QPen(theme::place(Place::Upstream, palette), 1.2)
                            : QPen(Qt::NoPen));
        painter->drawRoundedRect(QRectF(card).adjusted(0.5, 0.5, -0.5, -0.5), pad * 0.6, pad * 0.6);
    }
    const QRect room = option.rect.adjusted(pad, line * 2 / 5, -pad, -line * 2 / 5);
    const QRect upper(room.left(), room.top(), room.width(), line * 5 / 4);
    // What is changed but not committed stands below the branch that it would be committed to.
    const QRect changes(room.left(), upper.bottom(), room.width(), row.changes.isEmpty() ? 0 : line * 5 / 4);
    const QRect lower(room.left(), changes.top() + changes.height(), room.width(),
                      room.bottom() - changes.top() - changes.height());
    const QFont forecastFont = theme::sized(option.font, 1.0, row.forecastTone == DriftTone::Warning);
    const int forecastWidth =
        std::min(QFontMetrics(forecastFont).horizontalAdvance(row.forecast) + pad / 2, room.width() * 3 / 5);
    painter->setFont(theme::sized(option.font, 1.0, true));
    const QString name = row.checkedOut ? QStringLiteral("➤ ") + row.text : row.text;
    drawText(painter, upper.adjusted(0, 0, -forecastWidth, 0), Qt::AlignLeft, name, palette.color(QPalette::Text),
             Qt::ElideMiddle);
    painter->setFont(forecastFont);
    drawText(painter, QRect(upper.right() - forecastWidth, upper.top(), forecastWidth, upper.height()), Qt::AlignRight,
             row.forecast, toneColour(row.forecastTone, palette));
    if (!row.changes.isEmpty()) {
        painter->setFont(theme::sized(option.font, 0.9));
        drawText(painter, changes, Qt::AlignLeft, row.changes, theme::quiet(palette));
    }
    painter->setFont(option.font);
    drawBar(painter, lower, room.left() + axisAt(room.width()), row, *m_model, palette);
    painter->setFont(theme::sized(option.font, 0.9, row.forkTone == DriftTone::Loss));
    const int forkLeft = room.left() + axisAt(room.width()) + (room.width() - axisAt(room.width())) / 3;
    drawText(painter, QRect(forkLeft, lower.top(), room.right() - forkLeft, lower.height()), Qt::AlignRight, row.fork,
             toneColour(row.forkTone, palette));
    painter->restore();
}

} // namespace espalier

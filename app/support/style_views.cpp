// SPDX-License-Identifier: MIT
//
// The style's lists and tables: quiet headers, rows that keep their colours when they are chosen, slim scroll bars.
#include "app/support/style.h"
#include "app/support/theme.h"

#include <QAbstractScrollArea>
#include <QPainter>
#include <QStyleOption>

namespace espalier {

namespace {

int unit(const QStyleOption* option) { return std::max(4, option->fontMetrics.height() / 2); }

// What lies behind a scroll bar: the ground of what it scrolls.
QColor groundOf(const QStyleOption* option, const QWidget* widget)
{
    for (const QWidget* at = widget; at; at = at->parentWidget())
        if (const auto* area = qobject_cast<const QAbstractScrollArea*>(at))
            return area->viewport()->palette().color(area->viewport()->backgroundRole());
    return option->palette.color(QPalette::Window);
}

} // namespace

bool Style::drawView(PrimitiveElement element, const QStyleOption* option, QPainter* painter,
                     const QWidget* widget) const
{
    const auto* row = qstyleoption_cast<const QStyleOptionViewItem*>(option);
    if (!row || (element != PE_PanelItemViewItem && element != PE_PanelItemViewRow))
        return false;
    const bool selected = option->state & State_Selected;
    const bool hovered = option->state & State_MouseOver && option->state & State_Enabled;
    if (element == PE_PanelItemViewItem && row->backgroundBrush.style() != Qt::NoBrush)
        painter->fillRect(option->rect, row->backgroundBrush);
    const bool whole = row->viewItemPosition == QStyleOptionViewItem::OnlyOne;
    if (!selected && (!hovered || element == PE_PanelItemViewRow))
        return true;
    painter->setPen(Qt::NoPen);
    painter->setBrush(selected ? theme::selectionTint(option->palette) : theme::hoverTint(option->palette));
    // A row's own part draws what a tree leaves beside its items; the items draw the rest over it.
    const double round = whole && element == PE_PanelItemViewItem ? unit(option) * 0.6 : 0;
    if (round > 0)
        painter->drawRoundedRect(option->rect, round, round);
    else
        painter->fillRect(option->rect, painter->brush());
    Q_UNUSED(widget)
    return true;
}

bool Style::drawView(ControlElement element, const QStyleOption* option, QPainter* painter, const QWidget* widget) const
{
    switch (element) {
    case CE_ItemViewItem:
        if (const auto* row = qstyleoption_cast<const QStyleOptionViewItem*>(option)) {
            QStyleOptionViewItem same = *row;
            for (const auto group : {QPalette::Active, QPalette::Inactive})
                same.palette.setColor(group, QPalette::HighlightedText, row->palette.color(group, QPalette::Text));
            QProxyStyle::drawControl(element, &same, painter, widget);
            return true;
        }
        return false;
    case CE_HeaderSection:
    case CE_HeaderEmptyArea:
        painter->fillRect(option->rect, option->palette.color(QPalette::Base));
        painter->fillRect(QRect(option->rect.left(), option->rect.bottom(), option->rect.width(), 1),
                          theme::cardBorder(option->palette));
        return true;
    case CE_HeaderLabel:
        if (const auto* header = qstyleoption_cast<const QStyleOptionHeader*>(option)) {
            QStyleOptionHeaderV2 same;
            if (const auto* newer = qstyleoption_cast<const QStyleOptionHeaderV2*>(option))
                same = *newer;
            else
                static_cast<QStyleOptionHeader&>(same) = *header;
            // The base style takes the margin off the height too, and the letters' lower ends with it.
            const int margin = pixelMetric(PM_HeaderMargin, option, widget);
            same.rect.adjust(0, -margin, 0, margin - 1);
            // The chosen row's column is not told by a bold heading.
            same.state &= ~State_On;
            same.palette.setColor(QPalette::ButtonText, theme::quiet(option->palette));
            QProxyStyle::drawControl(element, &same, painter, widget);
            return true;
        }
        return false;
    case CE_Splitter: {
        const bool sideways = option->state & State_Horizontal;
        const bool hovered = option->state & (State_MouseOver | State_Sunken);
        const int length = unit(option) * 4;
        QRect pill(0, 0, sideways ? 2 : length, sideways ? length : 2);
        pill.moveCenter(option->rect.center());
        painter->fillRect(pill, hovered ? theme::outline(option->palette) : theme::cardBorder(option->palette));
        return true;
    }
    default:
        return false;
    }
}

QRect Style::scrollBarRect(const QStyleOptionComplex* option, SubControl part) const
{
    const auto* bar = qstyleoption_cast<const QStyleOptionSlider*>(option);
    if (!bar)
        return {};
    const bool sideways = bar->orientation == Qt::Horizontal;
    const int whole = sideways ? bar->rect.width() : bar->rect.height();
    const qint64 range = qint64(bar->maximum) - bar->minimum;
    int length = whole;
    if (range > 0) {
        length = int(qint64(bar->pageStep) * whole / (range + bar->pageStep));
        length = std::min(whole, std::max(length, pixelMetric(PM_ScrollBarSliderMin, option, nullptr)));
    }
    const int start =
        sliderPositionFromValue(bar->minimum, bar->maximum, bar->sliderPosition, whole - length, bar->upsideDown);
    const auto stretch = [&](int from, int size) {
        const QRect room =
            sideways ? QRect(from, 0, size, bar->rect.height()) : QRect(0, from, bar->rect.width(), size);
        return visualRect(bar->direction, bar->rect, room.translated(bar->rect.topLeft()));
    };
    switch (part) {
    case SC_ScrollBarGroove:
        return bar->rect;
    case SC_ScrollBarSlider:
        return stretch(start, length);
    case SC_ScrollBarSubPage:
        return stretch(0, start);
    case SC_ScrollBarAddPage:
        return stretch(start + length, whole - start - length);
    default:
        return {}; // no arrows at the ends
    }
}

void Style::drawScrollBar(const QStyleOptionComplex* option, QPainter* painter, const QWidget* widget) const
{
    painter->save();
    painter->setRenderHint(QPainter::Antialiasing);
    painter->fillRect(option->rect, groundOf(option, widget));
    const auto* bar = qstyleoption_cast<const QStyleOptionSlider*>(option);
    if (bar && bar->maximum > bar->minimum) {
        const bool sideways = bar->orientation == Qt::Horizontal;
        const QRectF room = scrollBarRect(option, SC_ScrollBarSlider);
        const double spare = (sideways ? room.height() : room.width()) * 0.25;
        const QRectF thumb = room.adjusted(spare, spare, -spare, -spare);
        const bool held = option->state & (State_MouseOver | State_Sunken);
        painter->setPen(Qt::NoPen);
        painter->setBrush(held ? theme::quiet(option->palette) : theme::outline(option->palette));
        const double round = std::min(thumb.width(), thumb.height()) / 2;
        painter->drawRoundedRect(thumb, round, round);
    }
    painter->restore();
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/support/style.h"

#include "app/support/theme.h"

#include <QApplication>
#include <QComboBox>
#include <QPainter>
#include <QPushButton>
#include <QStyleOption>
#include <QToolButton>

#include <cmath>

namespace espalier {

namespace {

// Half of a line of text: the unit of all distances here.
int unit(const QStyleOption* option) { return std::max(4, option->fontMetrics.height() / 2); }
double radius(const QStyleOption* option) { return unit(option) * 0.6; }
int controlHeight(const QStyleOption* option) { return option->fontMetrics.height() + unit(option) * 3 / 2; }

bool isFilled(const QStyleOption* option)
{
    const auto* button = qstyleoption_cast<const QStyleOptionButton*>(option);
    return button && (button->features & QStyleOptionButton::DefaultButton) && (option->state & QStyle::State_Enabled);
}

bool isFlat(const QStyleOption* option)
{
    const auto* button = qstyleoption_cast<const QStyleOptionButton*>(option);
    return button && (button->features & QStyleOptionButton::Flat);
}

void drawRing(QPainter* painter, const QRectF& room, double round, const QColor& colour, double width)
{
    painter->setBrush(Qt::NoBrush);
    painter->setPen(QPen(colour, width));
    painter->drawRoundedRect(room.adjusted(width / 2, width / 2, -width / 2, -width / 2), round, round);
}

// The surface of a button, of any class: filled for the page's one action, else outlined.
void drawSurface(QPainter* painter, const QStyleOption* option, const QWidget* widget)
{
    const QPalette& colours = option->palette;
    const bool enabled = option->state & QStyle::State_Enabled;
    const bool pressed = enabled && option->state & (QStyle::State_Sunken | QStyle::State_On);
    const bool hovered = enabled && option->state & QStyle::State_MouseOver;
    const bool filled = isFilled(option);
    const bool danger = widget && widget->property("danger").toBool();
    QColor fill =
        filled ? (danger ? theme::dangerFill(colours) : theme::primary(colours)) : colours.color(QPalette::Button);
    // A button in a place's colour has its outline in it too.
    const QColor ink = colours.color(QPalette::ButtonText);
    const bool tinted = enabled && ink != QApplication::palette().color(QPalette::Active, QPalette::ButtonText);
    // Its words tell a button; the outline need not be loud.
    const QColor line = tinted    ? ink
                        : enabled ? theme::mixed(colours.color(QPalette::Base), colours.color(QPalette::Text), 0.32)
                                  : theme::cardBorder(colours);
    if (!enabled)
        fill = colours.color(QPalette::Window);
    if (pressed || hovered)
        fill = theme::mixed(fill, filled ? QColor(Qt::black) : colours.color(QPalette::Text), pressed ? 0.16 : 0.08);
    const QRectF room = QRectF(option->rect).adjusted(0.5, 0.5, -0.5, -0.5);
    painter->setPen(filled ? fill : line);
    painter->setBrush(fill);
    painter->drawRoundedRect(room, radius(option), radius(option));
    if (!(option->state & QStyle::State_HasFocus))
        return;
    if (filled)
        drawRing(painter, room.adjusted(2, 2, -2, -2), radius(option) - 1, Qt::white, 1.5);
    else
        drawRing(painter, option->rect, radius(option), theme::focusRing(colours), 2);
}

void drawField(QPainter* painter, const QStyleOption* option)
{
    const bool enabled = option->state & QStyle::State_Enabled;
    const QColor line = enabled ? theme::outline(option->palette) : theme::cardBorder(option->palette);
    painter->setPen(line);
    painter->setBrush(option->palette.color(enabled ? QPalette::Base : QPalette::Window));
    painter->drawRoundedRect(QRectF(option->rect).adjusted(0.5, 0.5, -0.5, -0.5), radius(option), radius(option));
    if (option->state & QStyle::State_HasFocus)
        drawRing(painter, option->rect, radius(option), theme::focusRing(option->palette), 2);
}

void drawChevron(QPainter* painter, const QRectF& room, const QColor& colour, double size)
{
    const QPointF middle = room.center();
    painter->setBrush(Qt::NoBrush);
    painter->setPen(QPen(colour, 1.5, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
    painter->drawPolyline(QPolygonF{middle + QPointF(-size, -size / 2), middle + QPointF(0, size / 2),
                                    middle + QPointF(size, -size / 2)});
}

void drawCheckBox(QPainter* painter, const QStyleOption* option)
{
    const bool enabled = option->state & QStyle::State_Enabled;
    const QColor text = option->palette.color(enabled ? QPalette::Active : QPalette::Disabled, QPalette::Text);
    const QRectF box = QRectF(option->rect).adjusted(1, 1, -1, -1);
    const bool marked = option->state & (QStyle::State_On | QStyle::State_NoChange);
    const bool filled = marked && enabled;
    painter->setPen(QPen(filled    ? theme::primary(option->palette)
                         : enabled ? theme::outline(option->palette)
                                   : text,
                         1.2));
    painter->setBrush(filled ? theme::primary(option->palette) : option->palette.color(QPalette::Base));
    painter->drawRoundedRect(box, box.width() * 0.2, box.width() * 0.2);
    const QColor mark = filled ? QColor(Qt::white) : text;
    if (option->state & QStyle::State_On) {
        painter->setPen(QPen(mark, std::max(1.6, box.width() * 0.12), Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
        painter->drawPolyline(QPolygonF{box.topLeft() + QPointF(box.width() * 0.22, box.height() * 0.52),
                                        box.topLeft() + QPointF(box.width() * 0.42, box.height() * 0.72),
                                        box.topLeft() + QPointF(box.width() * 0.78, box.height() * 0.28)});
    } else if (option->state & QStyle::State_NoChange) {
        painter->setPen(QPen(mark, 1.8));
        painter->drawLine(box.center() - QPointF(box.width() * 0.25, 0), box.center() + QPointF(box.width() * 0.25, 0));
    }
}

// An arrow that is drawn by turning one.
void drawArrow(QPainter* painter, const QStyleOption* option, int degrees)
{
    const QColor ink = option->palette.color(
        option->state & QStyle::State_Enabled ? QPalette::Active : QPalette::Disabled, QPalette::ButtonText);
    painter->translate(QRectF(option->rect).center());
    painter->rotate(degrees);
    const double half = std::min(option->rect.width(), option->rect.height()) / 2.0;
    drawChevron(painter, QRectF(-half, -half, half * 2, half * 2), ink, std::min(half * 0.8, unit(option) * 0.5));
}

void drawMenuTitle(QPainter* painter, const QStyleOptionMenuItem* item)
{
    const bool open =
        item->state & (QStyle::State_Selected | QStyle::State_Sunken) && item->state & QStyle::State_Enabled;
    painter->fillRect(item->rect, item->palette.color(QPalette::Window));
    if (open) {
        painter->setPen(Qt::NoPen);
        painter->setBrush(theme::selectionTint(item->palette));
        painter->drawRoundedRect(QRectF(item->rect).adjusted(1, 1, -1, -1), radius(item), radius(item));
    }
}

class Saved {
  public:
    explicit Saved(QPainter* painter) : m_painter(painter)
    {
        painter->save();
        painter->setRenderHint(QPainter::Antialiasing);
    }
    ~Saved() { m_painter->restore(); }
    Saved(const Saved&) = delete;
    Saved& operator=(const Saved&) = delete;

  private:
    QPainter* m_painter;
};

} // namespace

Style::Style() : QProxyStyle(QStringLiteral("Fusion")) {}

void Style::polish(QWidget* widget)
{
    QProxyStyle::polish(widget);
    if (qobject_cast<QAbstractButton*>(widget) || qobject_cast<QComboBox*>(widget))
        widget->setAttribute(Qt::WA_Hover);
}

void Style::drawPrimitive(PrimitiveElement element, const QStyleOption* option, QPainter* painter,
                          const QWidget* widget) const
{
    const Saved saved(painter);
    switch (element) {
    case PE_IndicatorCheckBox:
    case PE_IndicatorItemViewItemCheck:
        drawCheckBox(painter, option);
        return;
    case PE_PanelButtonCommand:
        if (!isFlat(option) || option->state & (State_MouseOver | State_Sunken | State_HasFocus))
            drawSurface(painter, option, widget);
        return;
    case PE_PanelLineEdit:
        if (const auto* frame = qstyleoption_cast<const QStyleOptionFrame*>(option); frame && frame->lineWidth > 0) {
            drawField(painter, option);
            return;
        }
        break;
    case PE_FrameFocusRect:
        // A button's ring was drawn with its surface.
        if (!qobject_cast<const QPushButton*>(widget) && !qobject_cast<const QToolButton*>(widget))
            drawRing(painter, option->rect, radius(option) * 0.8, theme::focusRing(option->palette), 1.5);
        return;
    case PE_IndicatorArrowDown:
        drawArrow(painter, option, 0);
        return;
    case PE_IndicatorArrowLeft:
        drawArrow(painter, option, 90);
        return;
    case PE_IndicatorArrowUp:
        drawArrow(painter, option, 180);
        return;
    case PE_IndicatorArrowRight:
        drawArrow(painter, option, 270);
        return;
    case PE_Frame:
        painter->setBrush(Qt::NoBrush);
        painter->setPen(theme::cardBorder(option->palette));
        painter->drawRoundedRect(QRectF(option->rect).adjusted(0.5, 0.5, -0.5, -0.5), 3, 3);
        return;
    default:
        if (drawView(element, option, painter, widget))
            return;
    }
    painter->setRenderHint(QPainter::Antialiasing, false);
    QProxyStyle::drawPrimitive(element, option, painter, widget);
}

void Style::drawControl(ControlElement element, const QStyleOption* option, QPainter* painter,
                        const QWidget* widget) const
{
    if (const auto* button = qstyleoption_cast<const QStyleOptionButton*>(option);
        button && element == CE_PushButtonLabel && (isFilled(option) || isFlat(option))) {
        QStyleOptionButton other = *button;
        other.palette.setColor(QPalette::ButtonText,
                               isFilled(option) ? QColor(Qt::white) : option->palette.color(QPalette::Link));
        QProxyStyle::drawControl(element, &other, painter, widget);
        return;
    }
    if (element == CE_MenuBarEmptyArea) {
        painter->fillRect(option->rect, option->palette.color(QPalette::Window));
        return;
    }
    if (const auto* item = qstyleoption_cast<const QStyleOptionMenuItem*>(option); item && element == CE_MenuBarItem) {
        const Saved saved(painter);
        drawMenuTitle(painter, item);
        proxy()->drawItemText(painter, item->rect,
                              Qt::AlignCenter | Qt::TextShowMnemonic | Qt::TextDontClip | Qt::TextSingleLine,
                              item->palette, item->state & State_Enabled, item->text, QPalette::WindowText);
        return;
    }
    // The base style leaves flat buttons without any surface, and so without a ring.
    if (element == CE_PushButtonBevel && isFlat(option))
        proxy()->drawPrimitive(PE_PanelButtonCommand, option, painter, widget);
    else if (!drawView(element, option, painter, widget))
        QProxyStyle::drawControl(element, option, painter, widget);
}

void Style::drawComplexControl(ComplexControl control, const QStyleOptionComplex* option, QPainter* painter,
                               const QWidget* widget) const
{
    const auto* tool = qstyleoption_cast<const QStyleOptionToolButton*>(option);
    const auto* combo = qstyleoption_cast<const QStyleOptionComboBox*>(option);
    if (control == CC_ScrollBar) {
        drawScrollBar(option, painter, widget);
    } else if (control == CC_ComboBox && combo && !combo->editable) {
        const Saved saved(painter);
        drawSurface(painter, option, widget);
        const QRectF room(option->rect);
        const double size = unit(option) * 0.5;
        const double x =
            option->direction == Qt::RightToLeft ? room.left() + unit(option) : room.right() - unit(option) * 1.5;
        drawChevron(painter, QRectF(x - size, room.top(), size * 2, room.height()),
                    option->palette.color(QPalette::ButtonText), size);
    } else if (control == CC_ToolButton && tool && !(tool->features & QStyleOptionToolButton::MenuButtonPopup)) {
        const Saved saved(painter);
        QStyleOptionToolButton label = *tool;
        // "plain": its arrow tells whether it is open, its surface need not.
        const bool plain = widget && widget->property("plain").toBool();
        const bool raised = !(option->state & State_AutoRaise) || option->state & State_Sunken ||
                            (option->state & State_On && !plain) ||
                            (option->state & State_MouseOver && option->state & State_Enabled);
        if (raised || option->state & State_HasFocus) {
            if (plain)
                label.state &= ~State_On;
            if (option->state & State_AutoRaise && !(label.state & State_On))
                label.palette.setColor(QPalette::Button, option->palette.color(QPalette::Base));
            drawSurface(painter, &label, widget);
        }
        if (tool->features & QStyleOptionToolButton::HasMenu) {
            const int room = unit(option) * 3 / 2;
            label.rect.setWidth(label.rect.width() - room);
            drawChevron(painter, QRectF(label.rect.right(), option->rect.top(), room, option->rect.height()),
                        option->palette.color(QPalette::ButtonText), unit(option) * 0.45);
        }
        label.palette = option->palette;
        proxy()->drawControl(CE_ToolButtonLabel, &label, painter, widget);
    } else {
        QProxyStyle::drawComplexControl(control, option, painter, widget);
    }
}

QRect Style::subControlRect(ComplexControl control, const QStyleOptionComplex* option, SubControl part,
                            const QWidget* widget) const
{
    if (control == CC_ScrollBar)
        return scrollBarRect(option, part);
    const auto* combo = qstyleoption_cast<const QStyleOptionComboBox*>(option);
    if (control == CC_ComboBox && combo && !combo->editable && part == SC_ComboBoxEditField)
        return visualRect(option->direction, option->rect,
                          option->rect.adjusted(unit(option), 0, -unit(option) * 5 / 2, 0));
    return QProxyStyle::subControlRect(control, option, part, widget);
}

QRect Style::subElementRect(SubElement element, const QStyleOption* option, const QWidget* widget) const
{
    const QRect room = QProxyStyle::subElementRect(element, option, widget);
    if (element == SE_LineEditContents)
        return room.adjusted(unit(option) / 2, 0, -unit(option) / 2, 0);
    return room;
}

QSize Style::sizeFromContents(ContentsType type, const QStyleOption* option, const QSize& contents,
                              const QWidget* widget) const
{
    const QSize base = QProxyStyle::sizeFromContents(type, option, contents, widget);
    switch (type) {
    case CT_PushButton:
        if (isFlat(option))
            return {contents.width() + unit(option), option->fontMetrics.height() + unit(option) / 2};
        return {std::max(contents.width() + unit(option) * 4, unit(option) * 10), controlHeight(option)};
    case CT_ToolButton: {
        const auto* tool = qstyleoption_cast<const QStyleOptionToolButton*>(option);
        const bool menu = tool && tool->features & QStyleOptionToolButton::HasMenu;
        return {contents.width() + unit(option) * (menu ? 5 : 2) / 2, controlHeight(option) - unit(option) / 2};
    }
    case CT_ComboBox:
        return {base.width() + unit(option), controlHeight(option)};
    case CT_LineEdit:
        return {base.width() + unit(option), controlHeight(option)};
    case CT_ItemViewItem:
        return {base.width(), std::max(base.height(), option->fontMetrics.height() * 17 / 10)};
    case CT_HeaderSection:
        return {base.width(), option->fontMetrics.height() * 19 / 10};
    case CT_MenuItem: {
        const auto* item = qstyleoption_cast<const QStyleOptionMenuItem*>(option);
        if (item && item->menuItemType != QStyleOptionMenuItem::Separator)
            return {base.width() + unit(option), std::max(base.height(), option->fontMetrics.height() * 17 / 10)};
        return base;
    }
    default:
        return base;
    }
}

int Style::pixelMetric(PixelMetric metric, const QStyleOption* option, const QWidget* widget) const
{
    const int half = std::max(4, (option ? option->fontMetrics : QFontMetrics(QApplication::font())).height() / 2);
    switch (metric) {
    case PM_LayoutHorizontalSpacing:
    case PM_LayoutVerticalSpacing:
    case PM_HeaderMargin:
    case PM_CheckBoxLabelSpacing:
        return half;
    // Texts of rows begin where those of headers do.
    case PM_FocusFrameHMargin:
        return half - 1;
    case PM_IndicatorWidth:
    case PM_IndicatorHeight:
        return half * 2 + 2;
    case PM_ScrollBarExtent:
        return half * 3 / 2;
    case PM_ScrollBarSliderMin:
        return half * 4;
    case PM_ButtonShiftHorizontal:
    case PM_ButtonShiftVertical:
        return 0;
    case PM_SplitterWidth:
        return half;
    default:
        return QProxyStyle::pixelMetric(metric, option, widget);
    }
}

int Style::styleHint(StyleHint hint, const QStyleOption* option, const QWidget* widget, QStyleHintReturn* answer) const
{
    switch (hint) {
    case SH_DialogButtonBox_ButtonsHaveIcons:
        return 0;
    case SH_ItemView_ShowDecorationSelected:
        return 1;
    default:
        return QProxyStyle::styleHint(hint, option, widget, answer);
    }
}

} // namespace espalier

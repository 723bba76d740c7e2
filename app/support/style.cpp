// SPDX-License-Identifier: MIT
#include "app/support/style.h"

#include "app/support/theme.h"

#include <QPainter>
#include <QStyleOption>

namespace espalier {

Style::Style() : QProxyStyle(QStringLiteral("Fusion")) {}

void Style::drawPrimitive(PrimitiveElement element, const QStyleOption* option, QPainter* painter,
                          const QWidget* widget) const
{
    if (element != PE_IndicatorCheckBox && element != PE_IndicatorItemViewItemCheck) {
        QProxyStyle::drawPrimitive(element, option, painter, widget);
        return;
    }
    const QColor text = option->palette.color(option->state & State_Enabled ? QPalette::Active : QPalette::Disabled,
                                              QPalette::Text);
    const QRectF box = QRectF(option->rect).adjusted(1, 1, -1, -1);
    painter->save();
    painter->setRenderHint(QPainter::Antialiasing);
    painter->setPen(QPen(option->state & State_Enabled ? theme::quiet(option->palette) : text, 1.2));
    painter->setBrush(option->palette.color(QPalette::Base));
    painter->drawRoundedRect(box, 2, 2);
    if (option->state & State_On) {
        painter->setPen(QPen(text, 1.8, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
        painter->drawPolyline(QPolygonF{box.topLeft() + QPointF(box.width() * 0.22, box.height() * 0.52),
                                        box.topLeft() + QPointF(box.width() * 0.42, box.height() * 0.74),
                                        box.topLeft() + QPointF(box.width() * 0.8, box.height() * 0.26)});
    } else if (option->state & State_NoChange) {
        painter->setPen(QPen(text, 1.8));
        painter->drawLine(box.center() - QPointF(box.width() * 0.25, 0), box.center() + QPointF(box.width() * 0.25, 0));
    }
    painter->restore();
}

} // namespace espalier

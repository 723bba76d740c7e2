// SPDX-License-Identifier: MIT
//
// How controls look: the platform-independent style with flat, rounded controls that follow palette and font, one filled
// button a page (the default one), a ring around what has the keyboard, and outlines that reach the 3:1 that graphics need
// (WCAG 2.2, 1.4.11) in light and in dark. A default button whose property "danger" is true is filled in red; a
// checkable tool button whose property "plain" is true looks the same when it is checked.
#pragma once

#include <QProxyStyle>

namespace espalier {

class Style : public QProxyStyle {
    Q_OBJECT
  public:
    Style();
    void polish(QWidget* widget) override;
    using QProxyStyle::polish;
    void drawPrimitive(PrimitiveElement element, const QStyleOption* option, QPainter* painter,
                       const QWidget* widget) const override;
    void drawControl(ControlElement element, const QStyleOption* option, QPainter* painter,
                     const QWidget* widget) const override;
    void drawComplexControl(ComplexControl control, const QStyleOptionComplex* option, QPainter* painter,
                            const QWidget* widget) const override;
    QRect subControlRect(ComplexControl control, const QStyleOptionComplex* option, SubControl part,
                         const QWidget* widget) const override;
    QRect subElementRect(SubElement element, const QStyleOption* option, const QWidget* widget) const override;
    QSize sizeFromContents(ContentsType type, const QStyleOption* option, const QSize& contents,
                           const QWidget* widget) const override;
    int pixelMetric(PixelMetric metric, const QStyleOption* option, const QWidget* widget) const override;
    int styleHint(StyleHint hint, const QStyleOption* option, const QWidget* widget,
                  QStyleHintReturn* answer) const override;

  private:
    // Headers, rows, scroll bars and splitters: style_views.cpp. Each tells whether it has drawn the thing.
    bool drawView(PrimitiveElement element, const QStyleOption* option, QPainter* painter, const QWidget* widget) const;
    bool drawView(ControlElement element, const QStyleOption* option, QPainter* painter, const QWidget* widget) const;
    void drawScrollBar(const QStyleOptionComplex* option, QPainter* painter, const QWidget* widget) const;
    QRect scrollBarRect(const QStyleOptionComplex* option, SubControl part) const;
};

} // namespace espalier

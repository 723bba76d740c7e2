// SPDX-License-Identifier: MIT
//
// The platform-independent style with check boxes that can be seen on dark backgrounds too: their outline reaches the 3:1
// that graphics need (WCAG 2.2, 1.4.11), which the base style's does not.
#pragma once

#include <QProxyStyle>

namespace espalier {

class Style : public QProxyStyle {
    Q_OBJECT
  public:
    Style();
    void drawPrimitive(PrimitiveElement element, const QStyleOption* option, QPainter* painter,
                       const QWidget* widget) const override;
};

} // namespace espalier

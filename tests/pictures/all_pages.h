// SPDX-License-Identifier: MIT
//
// Every page of the window in every state that looks different, in one look: light or dark, at a size, with a font.
//
//     takeAllPages("/tmp/pictures", appearances()[0]);
#pragma once

#include <QSize>
#include <QString>

#include <vector>

namespace espalier::pictures {

struct Appearance {
    QString name;
    bool dark = false;
    QSize size{1400, 900};               // of the window, in its own units
    QString scale = QStringLiteral("1"); // what QT_SCALE_FACTOR must be when the program starts
    int points = 0;                      // of the font; 0: the desktop's own
};

std::vector<Appearance> appearances();
// Pictures go to folder/<name of the look>/. Of the settle page alone, with a conflict of every kind, where that is asked.
void takeAllPages(const QString& folder, const Appearance& look, bool onlySettle = false);

} // namespace espalier::pictures

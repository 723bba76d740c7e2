// SPDX-License-Identifier: MIT
//
// Colours and measures, derived from the user's palette and font, so that every page follows light, dark and scale. The
// hues are the Okabe–Ito palette's (2008); their lightness is fitted to the background until text reaches 4.5:1 and
// graphics 3:1 (WCAG 2.2, 1.4.3 and 1.4.11), which tests/app/test_theme.cpp computes.
#pragma once

#include "core/history/places.h"

#include <QColor>
#include <QFont>
#include <QPalette>
#include <QWidget>

#include <functional>

class QApplication;
class QTreeWidget;
class QTreeWidgetItem;

namespace espalier::theme {

enum class Scheme { System, Light, Dark };

// Sets a palette of our own on top of the platform's style; System follows the desktop's choice, also when it changes while
// the program runs.
void apply(QApplication& application, Scheme scheme = Scheme::System);

// Gives a widget's role this colour, and again whenever the palette changes: a colour that is merely set would stay that of
// the old one. Asked again for the same role, the last colour counts.
void keepColour(QWidget* widget, QPalette::ColorRole role, std::function<QColor(const QPalette&)> colour);
// The same for the text of an item that is in the tree or will be.
void keepColour(QTreeWidget* tree, QTreeWidgetItem* item, int column, QColor (*colour)(const QPalette&));

bool isDark(const QPalette& palette);

// The relative luminance contrast of two opaque colours, 1 to 21 (WCAG 2.2's formula).
double contrast(const QColor& a, const QColor& b);
// `wanted`, made darker or lighter until it stands out from `background` by at least `ratio`.
QColor fitted(const QColor& wanted, const QColor& background, double ratio);

// A place's colour as text and line on the palette's Base; its faint band; text on that band reaches 4.5:1 too.
QColor place(Place place, const QPalette& palette);
QColor placeTint(Place place, const QPalette& palette);
// Colours of lanes beside the main line, in turn; any index.
QColor laneColour(int index, const QPalette& palette);

QColor quiet(const QPalette& palette);   // secondary text
QColor warning(const QPalette& palette); // text of a conflict or a loss
QColor warningTint(const QPalette& palette);
QColor success(const QPalette& palette); // text of something that went well
QColor successTint(const QPalette& palette);
QColor danger(const QPalette& palette); // text of what would be lost
QColor dangerTint(const QPalette& palette);
QColor undecidedTint(const QPalette& palette); // an undecided hunk
QColor card(const QPalette& palette);          // background of a card
QColor cardBorder(const QPalette& palette);
QColor hoverTint(const QPalette& palette);
QColor selectionTint(const QPalette& palette); // a selected row under ordinary text
QColor outline(const QPalette& palette);       // of a field, a button, a check box; the thumb of a scroll bar
QColor focusRing(const QPalette& palette);     // around what has the keyboard
QColor primary(const QPalette& palette);       // the filled button, under white text
QColor dangerFill(const QPalette& palette);    // the same where something would be lost
// Between `a` (0) and `b` (1).
QColor mixed(const QColor& a, const QColor& b, double share);

// The fixed-width font at the size of the interface's.
QFont monospace();
// A font `steps` sizes larger or smaller than `base`.
QFont sized(const QFont& base, double factor, bool bold = false);
// The basic distance between things, from the font's height: about 8 pixels at 10 points and 100%.
int gap(const QWidget* widget);

} // namespace espalier::theme

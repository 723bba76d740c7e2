// SPDX-License-Identifier: MIT
//
// Whether a window shows a repository's text as plain text: every label, button, tool tip, menu, title and accessible name
// that is there now.
//
//     QCOMPARE(textProblems(&window), QStringList());
#pragma once

#include <QStringList>

class QWidget;

namespace espalier::test {

// One line for each text that would be read as markup, that holds a control or direction character, or that holds a `%1`
// which was left over or filled from somewhere else: "QLabel title: …".
QStringList textProblems(const QWidget* window);

} // namespace espalier::test

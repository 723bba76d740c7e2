// SPDX-License-Identifier: MIT
//
// Keys as a keyboard sends them: to the window that has the focus and from there to the widget that has it, through
// shortcuts, mnemonics, menus and dialogs. Nothing here moves the focus but the keys themselves.
//
//     press(Qt::Key_F7);
//     inDialog([](QDialog* dialog) { type("main"); press(Qt::Key_Return); });
//     tabTo(page->list());
#pragma once

#include <QString>
#include <QStringList>
#include <Qt>

#include <functional>

class QDialog;
class QWidget;

namespace espalier::test {

// Shows the window and waits until it has the focus, as a window manager would give it.
bool showActive(QWidget* window);
void press(Qt::Key key, Qt::KeyboardModifiers modifiers = Qt::NoModifier);
void type(const QString& text);
// The key beside the right Ctrl, as the widget that has the focus gets it from the platform.
void pressMenuKey();
// Presses Tab until the focus is on `widget` or below it; false when it is not reached within `most` presses.
bool tabTo(const QWidget* widget, int most = 40);

// Runs `act`, which opens a modal dialog and so does not come back before that is closed, and `answer` as soon as the
// dialog is there. False when no dialog came; a dialog that `answer` left open is closed by Escape.
bool withDialog(const std::function<void()>& act, const std::function<void(QDialog*)>& answer);

// Keys that mean two things in the window as it stands now, as "Alt+P: Places, Push…": menus, actions, shortcuts and the
// mnemonics of what is visible.
QStringList keyClashes(const QWidget* window);
// Visible controls that take the keyboard and have nothing to say to a screen reader, by class.
QStringList namelessControls(const QWidget* window);

} // namespace espalier::test

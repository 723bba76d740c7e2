// SPDX-License-Identifier: MIT
#include "tests/support/keyboard.h"

#include <QAbstractButton>
#include <QAccessible>
#include <QAction>
#include <QApplication>
#include <QContextMenuEvent>
#include <QDialog>
#include <QMainWindow>
#include <QMenuBar>
#include <QShortcut>
#include <QTest>
#include <QTimer>
#include <QWindow>

#include <map>

namespace espalier::test {

namespace {

// A closed dialog gives the focus back; that is the window manager's work, which the offscreen platform has not.
QWindow* focusWindow()
{
    if (!QGuiApplication::focusWindow())
        for (QWidget* widget : QApplication::topLevelWidgets())
            if (widget->isWindow() && widget->isVisible() && widget->parentWidget() == nullptr) {
                widget->activateWindow();
                if (QTest::qWaitFor([] { return QGuiApplication::focusWindow() != nullptr; }))
                    break;
            }
    return QGuiApplication::focusWindow();
}

} // namespace

bool showActive(QWidget* window)
{
    window->show();
    window->activateWindow();
    return QTest::qWaitForWindowActive(window);
}

void press(Qt::Key key, Qt::KeyboardModifiers modifiers)
{
    if (QWindow* window = focusWindow())
        QTest::keyClick(window, key, modifiers);
    // The key is a message to the window; a user sees what it did before the next one.
    QCoreApplication::processEvents();
}

void type(const QString& text)
{
    for (const QChar letter : text) {
        if (QWindow* window = focusWindow())
            QTest::keyClick(window, letter.toLatin1());
        QCoreApplication::processEvents();
    }
}

void pressMenuKey()
{
    // The platform makes this event out of the key; the offscreen one does not.
    QWidget* at = QApplication::focusWidget();
    const QPoint centre = at ? at->rect().center() : QPoint();
    QContextMenuEvent event(QContextMenuEvent::Keyboard, centre, at ? at->mapToGlobal(centre) : centre);
    if (at)
        QCoreApplication::sendEvent(at, &event);
    QCoreApplication::processEvents();
}

bool tabTo(const QWidget* widget, int most)
{
    for (int i = 0; i <= most; ++i) {
        const QWidget* at = QApplication::focusWidget();
        if (at && (at == widget || widget->isAncestorOf(at)))
            return true;
        if (i < most)
            press(Qt::Key_Tab);
    }
    return false;
}

bool withDialog(const std::function<void()>& act, const std::function<void(QDialog*)>& answer)
{
    bool answered = false;
    QTimer poll;
    QObject::connect(&poll, &QTimer::timeout, &poll, [&] {
        auto* dialog = qobject_cast<QDialog*>(QApplication::activeModalWidget());
        if (!dialog || QGuiApplication::focusWindow() != dialog->windowHandle())
            return;
        poll.stop();
        answered = true;
        answer(dialog);
        if (dialog->isVisible())
            press(Qt::Key_Escape);
    });
    poll.start(5);
    act();
    // A shortcut may need a turn of the event loop before its dialog is there.
    return QTest::qWaitFor([&] { return answered; }, 5000);
}

QStringList keyClashes(const QWidget* window)
{
    std::map<QString, QStringList> meanings;
    const auto add = [&](const QKeySequence& key, const QString& meaning) {
        if (!key.isEmpty())
            meanings[key.toString()] << meaning;
    };
    if (const auto* main = qobject_cast<const QMainWindow*>(window))
        for (const QAction* title : main->menuBar()->actions())
            add(QKeySequence::mnemonic(title->text()), title->text());
    for (const QAction* action : window->findChildren<QAction*>())
        if (action->isEnabled())
            for (const QKeySequence& key : action->shortcuts())
                add(key, action->text());
    for (const QShortcut* shortcut : window->findChildren<QShortcut*>())
        if (const auto* owner = qobject_cast<QWidget*>(shortcut->parent());
            owner && owner->isVisible() && shortcut->isEnabled())
            add(shortcut->key(),
                QStringLiteral("a shortcut of ") + QString::fromLatin1(owner->metaObject()->className()));
    for (const QAbstractButton* button : window->findChildren<QAbstractButton*>())
        if (button->isVisible() && button->isEnabled())
            add(button->shortcut(), button->text());
    QStringList clashes;
    for (const auto& [key, owners] : meanings)
        if (owners.size() > 1)
            clashes << key + QStringLiteral(": ") + owners.join(QStringLiteral(", ")).remove(QLatin1Char('&'));
    return clashes;
}

QStringList namelessControls(const QWidget* window)
{
    QStringList nameless;
    for (QWidget* widget : window->findChildren<QWidget*>()) {
        // A view's own viewport and scroll bars speak through the view.
        if (!widget->isVisible() || !(widget->focusPolicy() & Qt::TabFocus) || widget->focusProxy())
            continue;
        const QAccessibleInterface* face = QAccessible::queryAccessibleInterface(widget);
        if (!face || face->text(QAccessible::Name).isEmpty())
            nameless << QString::fromLatin1(widget->metaObject()->className()) + QLatin1Char(' ') +
                            widget->objectName() + QStringLiteral(" in ") +
                            QString::fromLatin1(widget->parentWidget()->metaObject()->className());
    }
    return nameless;
}

} // namespace espalier::test

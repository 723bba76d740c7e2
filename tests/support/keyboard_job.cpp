// SPDX-License-Identifier: MIT
#include "tests/support/whole_job.h"

#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "tests/support/keyboard.h"

#include <QApplication>
#include <QDialog>
#include <QLineEdit>
#include <QListView>
#include <QListWidget>
#include <QTest>

namespace espalier::test {

bool KeyboardJob::chooseTopic()
{
    // F6 walks the panes of the workbench; the board is one of them.
    QListView* list = m_window.driftBoard()->list();
    for (int i = 0; i < 4 && !list->hasFocus(); ++i)
        press(Qt::Key_F6);
    press(Qt::Key_Home);
    for (int i = 0; i < list->model()->rowCount() && m_window.driftBoard()->selected() != topicRef; ++i)
        press(Qt::Key_Down);
    return list->hasFocus() && m_window.driftBoard()->selected() == topicRef;
}

bool KeyboardJob::askForDryRun(const Look&)
{
    // The menu Branch, its entry Replay onto…, a part of the name, the arrows where several have it.
    QString chosen;
    const bool asked = withDialog(
        [] {
            press(Qt::Key_B, Qt::AltModifier);
            press(Qt::Key_R);
        },
        [&](QDialog* dialog) {
            auto* list = dialog->findChild<QListWidget*>();
            type(QStringLiteral("main"));
            for (int i = 0; i < list->count() && !list->currentItem()->text().contains(QStringLiteral("upstream")); ++i)
                press(Qt::Key_Down);
            chosen = list->currentItem()->text();
            press(Qt::Key_Return);
        });
    return asked && chosen.startsWith(QStringLiteral("upstream/main"));
}

bool KeyboardJob::openSettlePage()
{
    press(Qt::Key_S, Qt::AltModifier);
    return true;
}

bool KeyboardJob::settleHunk(int number)
{
    SettlePage* page = m_window.settlePage();
    if (number == 0) {
        press(Qt::Key_2, Qt::AltModifier); // Keep your commit
        return true;
    }
    TextPane* settled = nullptr;
    for (TextPane* pane : page->findChildren<TextPane*>())
        if (pane->isVisible() && !pane->isReadOnly())
            settled = pane;
    if (!settled || !tabTo(settled))
        return false;
    type(QString::fromLatin1(typedLine));
    // Out of the text, in which Tab is a letter.
    press(Qt::Key_Escape);
    return !settled->hasFocus();
}

bool KeyboardJob::goOn()
{
    press(Qt::Key_F8);
    return true;
}

bool KeyboardJob::askToApply()
{
    press(Qt::Key_A, Qt::AltModifier);
    return true;
}

bool KeyboardJob::askForCheck()
{
    press(Qt::Key_O, Qt::AltModifier);
    return true;
}

bool KeyboardJob::askToPush()
{
    // The button that pushes has the focus.
    press(Qt::Key_Space);
    return true;
}

bool KeyboardJob::openLogbook()
{
    press(Qt::Key_F9);
    return true;
}

bool KeyboardJob::takeBack(const QString& word)
{
    QAbstractItemView* entries = logbookEntries();
    if (!entries->hasFocus())
        return false;
    press(Qt::Key_Home);
    while (!rowText(entries, entries->currentIndex().row()).contains(word, Qt::CaseInsensitive)) {
        const int before = entries->currentIndex().row();
        press(Qt::Key_Down);
        if (entries->currentIndex().row() == before)
            return false;
    }
    press(Qt::Key_T, Qt::AltModifier);
    return true;
}

} // namespace espalier::test

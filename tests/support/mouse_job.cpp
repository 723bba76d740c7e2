// SPDX-License-Identifier: MIT
#include "tests/support/whole_job.h"

#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"

#include <QDragEnterEvent>
#include <QListView>
#include <QMenuBar>
#include <QTest>

namespace espalier::test {

bool MouseJob::chooseTopic()
{
    auto* list = m_window.driftBoard()->list();
    for (int i = 0; i < list->model()->rowCount(); ++i) {
        QTest::mouseClick(list->viewport(), Qt::LeftButton, {}, list->visualRect(list->model()->index(i, 0)).center());
        if (m_window.driftBoard()->selected() == topicRef)
            return true;
    }
    return false;
}

bool MouseJob::askForDryRun(const Look& look)
{
    const SnapshotPtr snapshot = m_window.session()->snapshot();
    const Ref* topic = snapshot->findRef(topicRef);
    const Ref* mainLine = snapshot->mainLineRef();
    auto* list = m_window.graph()->findChild<GraphList*>();
    if (!topic || !mainLine || !list)
        return false;
    const auto shown = m_window.session()->lanes()->displayRowOf(mainLine->row);
    if (!shown)
        return false;
    const auto data = encodeDrag(DragSource{topicRef, {}, topic->tip, true, QStringLiteral("topic/metric-heights")});
    list->ensureVisible(int(*shown));
    const QPoint at = list->rectOf(int(*shown)).center();
    const auto actions = Qt::LinkAction | Qt::MoveAction | Qt::CopyAction;
    QDragEnterEvent enter(at, actions, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &enter);
    QDragMoveEvent move(at, actions, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &move);
    if (!enter.isAccepted() || !move.isAccepted())
        return false;
    look(QStringLiteral("drag"));
    QDropEvent drop(at, actions, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &drop);
    return true;
}

bool MouseJob::openSettlePage() { return clickButton(m_window.dryRunPage(), QStringLiteral("settle")); }

bool MouseJob::settleHunk(int number)
{
    // The first hunk keeps the commit's lines, the others put both sides one after the other.
    const QString how = number == 0 ? QStringLiteral("your-commit") : QStringLiteral("new-base-first");
    SettlePage* page = m_window.settlePage();
    return waitFor([&] { return findButton(page, how) != nullptr; }) && clickButton(page, how);
}

bool MouseJob::goOn() { return clickButton(m_window.settlePage(), QStringLiteral("nextUndecided")); }
bool MouseJob::askToApply() { return clickButton(m_window.dryRunPage(), QStringLiteral("apply")); }
bool MouseJob::askForCheck() { return clickButton(m_window.notice(), QStringLiteral("Check overwrite and push…")); }
bool MouseJob::askToPush() { return clickButton(m_window.overwritePage(), QStringLiteral("push")); }

bool MouseJob::openLogbook()
{
    // The menu bar's History, then the entry in the menu that pops up.
    for (QAction* title : m_window.menuBar()->actions())
        for (QAction* action : title->menu()->actions()) {
            if (action->text().remove(QLatin1Char('&')) != QStringLiteral("Logbook"))
                continue;
            QMenu* menu = title->menu();
            QTest::mouseClick(m_window.menuBar(), Qt::LeftButton, {},
                              m_window.menuBar()->actionGeometry(title).center());
            if (!waitFor([&] { return menu->isVisible(); }))
                return false;
            // A menu takes a click only from a pointer that has moved since it popped up.
            const QPoint at = menu->actionGeometry(action).center();
            for (int step = 0; step <= 8; ++step)
                QTest::mouseMove(menu, at * step / 8);
            QTest::mouseClick(menu, Qt::LeftButton, {}, at);
            return true;
        }
    return false;
}

bool MouseJob::takeBack(const QString& word)
{
    QAbstractItemView* entries = logbookEntries();
    for (int i = 0; i < entries->model()->rowCount(); ++i) {
        if (!rowText(entries, i).contains(word, Qt::CaseInsensitive))
            continue;
        const QRect row = entries->visualRect(entries->model()->index(i, 0));
        QTest::mouseClick(entries->viewport(), Qt::LeftButton, {}, row.center());
        if (clickButton(m_window.logbookPage(), QStringLiteral("takeBack")))
            return true;
    }
    return false;
}

} // namespace espalier::test

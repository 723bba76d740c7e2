// SPDX-License-Identifier: MIT
#include "tests/support/whole_job.h"

#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/dryrun/replay_flow.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"

#include <QAbstractItemView>
#include <QAbstractButton>
#include <QDragEnterEvent>
#include <QListView>
#include <QTest>

namespace espalier::test {

namespace {

constexpr const char* topicRef = "refs/heads/topic/metric-heights";

std::size_t undecided(const DryRun& run)
{
    std::size_t count = 0;
    for (const auto& commit : run.commits)
        for (const Conflict& conflict : commit.conflicts)
            count += conflict.undecided;
    return count;
}

} // namespace

bool waitFor(const std::function<bool()>& done, int milliseconds) { return QTest::qWaitFor(done, milliseconds); }

QAbstractButton* findButton(QWidget* in, const QString& nameOrText)
{
    for (QAbstractButton* button : in->findChildren<QAbstractButton*>())
        if (button->isVisible() && button->isEnabled() &&
            (button->objectName() == nameOrText || button->text().remove(QLatin1Char('&')) == nameOrText))
            return button;
    return nullptr;
}

bool clickButton(QWidget* in, const QString& nameOrText)
{
    QAbstractButton* button = findButton(in, nameOrText);
    if (!button)
        return false;
    QTest::mouseClick(button, Qt::LeftButton);
    return true;
}

void WholeJob::run(const std::function<void(const QString&)>& tell)
{
    // A user acts on what has been painted; the offscreen platform paints only when it is asked to.
    const auto look = [&](const QString& step) {
        QCoreApplication::processEvents();
        m_window.grab();
        tell(step);
    };
    const auto step = [&](const char* name, bool done) {
        if (!done && m_problem.isEmpty())
            m_problem = QStringLiteral("%1; the window says: %2")
                            .arg(QString::fromLatin1(name), m_window.notice()->line());
        if (done)
            look(QString::fromLatin1(name));
        return done;
    };
    if (step("open", open()) && step("dry-run", drag(look)) && step("ready", settle(look)) && step("applied", apply()) &&
        step("overwrite-check", check()) && step("pushed", push()))
        step("restored", restore(look));
}

bool WholeJob::open()
{
    bool forecast = false;
    const auto seen = QObject::connect(m_window.session(), &Session::forecastsDone, [&] { forecast = true; });
    m_window.openRepository(m_path);
    const bool done = waitFor([&] { return forecast && m_window.currentPage() == m_window.workbench(); });
    QObject::disconnect(seen);
    if (!done)
        return false;
    // Select by mouse.
    auto* list = m_window.driftBoard()->list();
    for (int i = 0; i < list->model()->rowCount(); ++i) {
        QTest::mouseClick(list->viewport(), Qt::LeftButton, {}, list->visualRect(list->model()->index(i, 0)).center());
        if (m_window.driftBoard()->selected() == topicRef)
            return true;
    }
    return false;
}

bool WholeJob::drag(const std::function<void(const QString&)>& look)
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
    const auto buttons = Qt::LeftButton;
    QDragEnterEvent enter(at, Qt::LinkAction | Qt::MoveAction | Qt::CopyAction, data.get(), buttons, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &enter);
    QDragMoveEvent move(at, Qt::LinkAction | Qt::MoveAction | Qt::CopyAction, data.get(), buttons, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &move);
    if (!enter.isAccepted() || !move.isAccepted())
        return false;
    look(QStringLiteral("drag"));
    QDropEvent drop(at, Qt::LinkAction | Qt::MoveAction | Qt::CopyAction, data.get(), buttons, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &drop);
    return waitFor([&] { return m_window.flow()->run() && !m_window.flow()->isBusy() && m_window.dryRunPage()->isVisible(); });
}

bool WholeJob::settle(const std::function<void(const QString&)>& look)
{
    ReplayFlow* flow = m_window.flow();
    const auto open = [&] { return undecided(*flow->run()); };
    const std::size_t before = open();
    QAbstractButton* begin = nullptr;
    for (QAbstractButton* button : m_window.dryRunPage()->findChildren<QAbstractButton*>())
        if (button->isVisible() && button->isEnabled() && button->text().contains(QStringLiteral("ettle")))
            begin = button;
    if (!begin)
        return false;
    QTest::mouseClick(begin, Qt::LeftButton);
    SettlePage* page = m_window.settlePage();
    if (!waitFor([&] { return m_window.currentPage() == page && findButton(page, QStringLiteral("Next undecided")) &&
                           findButton(page, QStringLiteral("your-commit")); }))
        return false;
    look(QStringLiteral("settle"));
    while (open() > 0) {
        const std::size_t last = open();
        // The first hunk keeps the commit's lines, the others put both sides one after the other.
        const QString how = m_hunks == 0 ? QStringLiteral("your-commit") : QStringLiteral("new-base-first");
        if (!waitFor([&] { return findButton(page, how) != nullptr; }) || !clickButton(page, how) ||
            !waitFor([&] { return !flow->isBusy() && open() < last; }))
            return false;
        ++m_hunks;
        if (open() > 0 && !clickButton(page, QStringLiteral("nextUndecided")))
            return false;
    }
    if (!waitFor([&] { return findButton(page, QStringLiteral("Back to the dry run")) != nullptr; }))
        return false;
    look(QStringLiteral("settled"));
    return std::size_t(m_hunks) == before && clickButton(page, QStringLiteral("nextUndecided")) &&
           waitFor([&] { return m_window.currentPage() == m_window.workbench() && !flow->isBusy() && flow->run()->clean; });
}

bool WholeJob::apply()
{
    return clickButton(m_window.dryRunPage(), QStringLiteral("Apply")) &&
           waitFor([&] {
               return findButton(m_window.notice(), QStringLiteral("Check overwrite and push…")) &&
                      !m_window.session()->isLoading() && m_window.session()->drift();
           });
}

bool WholeJob::check()
{
    return clickButton(m_window.notice(), QStringLiteral("Check overwrite and push…")) &&
           waitFor([&] { return m_window.currentPage() == m_window.overwritePage(); });
}

bool WholeJob::push()
{
    bool pushed = false;
    const auto heard = QObject::connect(m_window.session(), &Session::said,
                                        [&](const QString& line) { pushed |= line.startsWith(QStringLiteral("Pushed")); });
    const bool done = waitFor([&] { return findButton(m_window.overwritePage(), QStringLiteral("push")) != nullptr; }) &&
                      clickButton(m_window.overwritePage(), QStringLiteral("push")) && waitFor([&] { return pushed; }) &&
                      waitFor([&] { return !m_window.session()->isLoading(); });
    QObject::disconnect(heard);
    return done;
}

bool WholeJob::restore(const std::function<void(const QString&)>& look)
{
    m_window.showLogbook();
    auto* entries = m_window.logbookPage()->findChild<QAbstractItemView*>(QStringLiteral("entries"));
    if (!entries || !waitFor([&] { return entries->model() && entries->model()->rowCount() >= 2; }))
        return false;
    look(QStringLiteral("logbook"));
    // The push first, then the replay below it.
    for (int taken = 0; taken < 2; ++taken) {
        const QString word = taken == 0 ? QStringLiteral("push") : QStringLiteral("eplay");
        bool back = false;
        const auto heard = QObject::connect(m_window.session(), &Session::said, [&] { back = true; });
        bool clicked = false;
        for (int i = 0; i < entries->model()->rowCount() && !clicked; ++i) {
            const QModelIndex index = entries->model()->index(i, 0);
            QTest::mouseClick(entries->viewport(), Qt::LeftButton, {}, entries->visualRect(index).center());
            QString text;
            for (int column = 0; column < entries->model()->columnCount(); ++column)
                text += index.siblingAtColumn(column).data().toString() + QLatin1Char(' ');
            if (text.contains(word, Qt::CaseInsensitive) && findButton(m_window.logbookPage(), QStringLiteral("takeBack")))
                clicked = clickButton(m_window.logbookPage(), QStringLiteral("takeBack"));
        }
        const bool done = clicked && waitFor([&] { return back; }) &&
                          waitFor([&] { return !m_window.session()->isLoading(); });
        QObject::disconnect(heard);
        if (!done)
            return false;
        const int rows = 3 + taken;
        if (!waitFor([&] { return entries->model()->rowCount() >= rows; }))
            return false;
    }
    return true;
}

} // namespace espalier::test

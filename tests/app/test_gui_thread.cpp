// SPDX-License-Identifier: MIT
//
// On a history of 160,000 commits the window answers at once, whatever it is doing: nothing that is done for the gathered
// picture, a drag, a focus, forecasts that arrive, folding and the first look keeps the GUI thread for longer than is noticed.
#include "app/drift/drift_board.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/window/main_window.h"
#include "tests/support/far_scene.h"
#include "tests/support/gui_watchdog.h"

#include <QDragEnterEvent>
#include <QListView>
#include <QScrollBar>
#include <QSignalSpy>
#include <QTimer>
#include <QtTest>

#include <ctime>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr int patience = 240'000;

// Keeps the processor busy for so long.
void work(double milliseconds)
{
    const auto now = [] {
        timespec at{};
        ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &at);
        return double(at.tv_sec) * 1000 + double(at.tv_nsec) / 1e6;
    };
    for (const double until = now() + milliseconds; now() < until;)
        ;
}

} // namespace

class TestGuiThread : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void theWatchdogSees_data();
    void theWatchdogSees();
    void nothingTakesLong();

  private:
    static DragSource topic(const MainWindow& window, int number);
    static bool hasComeToRest(const MainWindow& window);
};

// What takes long, in one piece or in many that nothing comes between; what only waits takes nothing.
void TestGuiThread::theWatchdogSees_data()
{
    QTest::addColumn<double>("each");
    QTest::addColumn<int>("times");
    QTest::addColumn<int>("sleeps");
    QTest::addColumn<bool>("isSeen");
    QTest::newRow("one long piece") << 60.0 * std::max(1.0, GuiWatchdog::slowness()) << 1 << 0 << true;
    QTest::newRow("many short ones") << 6.0 << int(11 * std::max(1.0, GuiWatchdog::slowness())) << 0 << true;
    QTest::newRow("a short one") << 6.0 << 1 << 0 << false;
    QTest::newRow("waiting") << 1.0 << 1 << 300 << false;
}

void TestGuiThread::theWatchdogSees()
{
    if (GuiWatchdog::slowness() == 0)
        QSKIP("a sanitizer makes everything slow");
    QFETCH(double, each);
    QFETCH(int, times);
    QFETCH(int, sleeps);
    QFETCH(bool, isSeen);
    GuiWatchdog watchdog;
    watchdog.begin(QStringLiteral("step"));
    QObject receiver;
    receiver.setObjectName(QStringLiteral("receiver"));
    int done = 0;
    for (int k = 0; k < times; ++k)
        QMetaObject::invokeMethod(
            &receiver,
            [&] {
                work(each);
                QThread::msleep(std::uint32_t(sleeps));
                ++done;
            },
            Qt::QueuedConnection);
    QTRY_COMPARE(done, times);
    watchdog.pause();
    QCOMPARE(!watchdog.tooLong().isEmpty(), isSeen);
    QVERIFY2(!isSeen || watchdog.tooLong().contains(QStringLiteral("MetaCall of QObject \"receiver\"")),
             qPrintable(watchdog.tooLong()));
}

DragSource TestGuiThread::topic(const MainWindow& window, int number)
{
    const Ref* ref = window.session()->snapshot()->findRef(FarScene::topic(number));
    return {ref->name, {}, ref->tip, true, QString::fromStdString(ref->branch)};
}

bool TestGuiThread::hasComeToRest(const MainWindow& window)
{
    return window.graph()->findChild<GraphList*>()->model()->isIdle() && !window.session()->isLoading();
}

void TestGuiThread::nothingTakesLong()
{
    if (GuiWatchdog::slowness() == 0)
        QSKIP("a sanitizer makes everything slow");
    // One that is not optimised would take many minutes for all of it.
    const int commits = GuiWatchdog::slowness() > 1 ? 40'000 : 160'000;
    const FarScene scene(commits, 82);
    GuiWatchdog watchdog;
    MainWindow window;
    window.show();
    QVERIFY(QTest::qWaitForWindowExposed(&window));
    GraphView* graph = window.graph();
    auto* list = graph->findChild<GraphList*>();
    const auto rest = [&] {
        const bool rested = QTest::qWaitFor([&] { return hasComeToRest(window); }, patience);
        QTest::qWait(50); // what is painted with it
        return rested;
    };
    const auto rows = [&] { return list->model()->rowCount(); };

    QSignalSpy forecast(window.session(), &Session::forecastsDone);
    QSignalSpy arrived(window.session(), &Session::forecastChanged);
    watchdog.begin(QStringLiteral("opening and the first look"));
    window.openRepository(scene.repo.path());
    QTRY_VERIFY_WITH_TIMEOUT(window.session()->drift(), patience);
    QTRY_VERIFY_WITH_TIMEOUT(graph->isFoldedAroundUser() && rows() > 0 && rows() < 2000, patience);
    watchdog.begin(QStringLiteral("forecasts that arrive"));
    QTRY_VERIFY_WITH_TIMEOUT(forecast.size() > 0, patience);
    QVERIFY(arrived.size() >= 82);
    QVERIFY(rest());

    // Without the drag's own loop, which the platform of the tests does not have.
    for (const bool everything : {false, true}) {
        const QString where = everything ? QStringLiteral(", of everything") : QString();
        if (everything) {
            watchdog.begin(QStringLiteral("show everything"));
            graph->setFolded(false);
            QTRY_VERIFY_WITH_TIMEOUT(rows() > commits * 6 / 10, patience);
            QVERIFY(rest());
        }
        const int before = rows();
        const DragSource source = topic(window, 0);
        QSignalSpy gathered(graph, &GraphView::gatheredChanged);
        watchdog.begin(QStringLiteral("gathering") + where);
        Q_EMIT window.driftBoard()->dragBegan(source);
        if (everything || rows() > list->roomForRows())
            QTRY_COMPARE_WITH_TIMEOUT(gathered.size(), 1, patience);
        QVERIFY(rest());
        watchdog.begin(QStringLiteral("dragging") + where);
        const std::unique_ptr<QMimeData> data = encodeDrag(source);
        QDragEnterEvent enter(QPoint(200, 5), Qt::MoveAction | Qt::LinkAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(list->viewport(), &enter);
        for (int y = 5; y < list->viewport()->height(); y += 5) {
            QDragMoveEvent move(QPoint(200, y), Qt::MoveAction | Qt::LinkAction, data.get(), Qt::LeftButton, {});
            QCoreApplication::sendEvent(list->viewport(), &move);
            QTest::qWait(1);
        }
        QDragLeaveEvent leave;
        QCoreApplication::sendEvent(list->viewport(), &leave);
        QVERIFY(rest());
        watchdog.begin(QStringLiteral("springing back") + where);
        Q_EMIT window.driftBoard()->dragEnded(false);
        QTRY_COMPARE_WITH_TIMEOUT(rows(), before, patience);
        QVERIFY(rest());
    }

    watchdog.begin(QStringLiteral("a range that is dragged"));
    const SnapshotPtr snapshot = window.session()->snapshot();
    graph->goTo(snapshot->findRef(FarScene::topic(0))->row);
    QVERIFY(!graph->selectedSource().label.isEmpty());
    graph->goTo(snapshot->history.parents(snapshot->findRef(FarScene::topic(0))->row)[0]);
    graph->selectedSource();
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("scrolling"));
    for (int k = 0; k <= 40; ++k) {
        list->verticalScrollBar()->setValue(int(qint64(list->verticalScrollBar()->maximum()) * k / 40));
        QTest::qWait(5);
    }
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("a focus"));
    graph->focusOn(snapshot->findRef(FarScene::topic(0))->row);
    QTRY_VERIFY_WITH_TIMEOUT(rows() < 1000, patience);
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("another focus"));
    graph->focusOn(snapshot->findRef(FarScene::topic(80))->row);
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("leaving the focus"));
    graph->focusOn(noRow);
    QTRY_VERIFY_WITH_TIMEOUT(rows() > commits * 6 / 10, patience);
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("folding"));
    graph->setFolded(true);
    QTRY_VERIFY_WITH_TIMEOUT(rows() < commits * 6 / 10, patience);
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("opening a fold"));
    for (int at = 0; at < rows(); ++at)
        if (list->model()->lanes()->displayed(std::size_t(at)).folded > 1000) {
            Q_EMIT list->foldToggled(at);
            break;
        }
    QVERIFY(rest());
    watchdog.begin(QStringLiteral("a commit that is folded away"));
    graph->goTo(snapshot->history.size() / 2);
    QVERIFY(rest());
    watchdog.pause();
    QSignalSpy changed(window.session(), &Session::snapshotChanged);
    scene.repo.git({"commit", "--allow-empty", "--quiet", "-m", "New"});
    watchdog.begin(QStringLiteral("a new commit"));
    window.session()->refresh(true);
    QTRY_VERIFY_WITH_TIMEOUT(changed.size() > 0 && window.session()->drift(), patience);
    QVERIFY(rest());
    watchdog.pause();
    qInfo("%s", qPrintable(watchdog.report()));
    QVERIFY2(watchdog.tooLong().isEmpty(), qPrintable(watchdog.tooLong()));
}

QTEST_MAIN(TestGuiThread)
#include "test_gui_thread.moc"

// SPDX-License-Identifier: MIT
//
// The window by keyboard alone: the whole job with nothing but keys, the other ways into a replay, and that no key of a page
// means two things and no control is without a name.
#include "app/drift/clean_up_page.h"
#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/window/start_page.h"
#include "core/samples/samples.h"
#include "tests/support/job_check.h"
#include "tests/support/keyboard.h"
#include "tests/support/temp_repository.h"

#include <QDialog>
#include <QListView>
#include <QListWidget>
#include <QMenu>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestKeyboard : public QObject {
    Q_OBJECT

    // A window on the sample, with the forecast done.
    std::unique_ptr<MainWindow> openSample(const QString& name);
    // Presses Down until the menu's current entry has `words` in it, then Enter.
    static bool choose(const QString& words);

    QTemporaryDir m_folder;
    int m_samples = 0;

  private Q_SLOTS:
    void wholeJob();
    void startPageOpensASample();
    void boardMenu();
    void newBaseIsPickedInTheGraph();
    void panesTakeTurns();
    void pagesGiveTheKeyboardBack();
    void choiceOutlivesAChange();
};

std::unique_ptr<MainWindow> TestKeyboard::openSample(const QString& name)
{
    const QString at = m_folder.filePath(QString::number(++m_samples));
    const auto sample = buildSample(name.toStdString(), at.toStdString());
    auto window = std::make_unique<MainWindow>();
    if (!sample || !showActive(window.get()))
        return nullptr;
    QSignalSpy forecast(window->session(), &Session::forecastsDone);
    window->openRepository(QString::fromStdString(sample->clone.string()));
    return waitFor([&] { return !forecast.isEmpty(); }) ? std::move(window) : nullptr;
}

bool TestKeyboard::choose(const QString& words)
{
    auto* menu = qobject_cast<QMenu*>(QApplication::activePopupWidget());
    if (!menu)
        return false;
    for (qsizetype i = 0; i < menu->actions().size(); ++i) {
        press(Qt::Key_Down);
        if (menu->activeAction() && menu->activeAction()->text().contains(words)) {
            press(Qt::Key_Return);
            return true;
        }
    }
    return false;
}

void TestKeyboard::wholeJob()
{
    QTemporaryDir folder;
    const auto sample = buildSample("same-lines", (folder.path() + QStringLiteral("/s")).toStdString());
    QVERIFY(sample.has_value());
    MainWindow window;
    QVERIFY(showActive(&window));
    KeyboardJob job(window, QString::fromStdString(sample->clone.string()));
    checkJob(job, window, *sample, [&](const QString& step) {
        const QStringList clashes = keyClashes(&window);
        QVERIFY2(clashes.isEmpty(), qPrintable(step + QStringLiteral(": ") + clashes.join(QStringLiteral("; "))));
        const QStringList nameless = namelessControls(&window);
        QVERIFY2(nameless.isEmpty(), qPrintable(step + QStringLiteral(": ") + nameless.join(QStringLiteral("; "))));
        QVERIFY2(window.focusWidget() && window.focusWidget()->isVisible(), qPrintable(step));
        if (step != QStringLiteral("pushed"))
            return;
        // What was typed is in the file that was pushed.
        const GitRun file = runProgram("git", {"show", "topic/metric-heights:docs/units.md"},
                                       QString::fromStdString(sample->fork.string()));
        QVERIFY2(file.out.contains(QByteArray(KeyboardJob::typedLine) + '\n') && !file.out.contains("<<<"),
                 file.out.constData());
    });
}

void TestKeyboard::startPageOpensASample()
{
    // The program keeps samples in the user's data folder.
    qputenv("XDG_DATA_HOME", m_folder.path().toUtf8());
    MainWindow window;
    QVERIFY(showActive(&window));
    QListWidget* samples = nullptr;
    for (QListWidget* list : window.startPage()->findChildren<QListWidget*>())
        if (list->isVisible())
            samples = list;
    QVERIFY(samples && tabTo(samples));
    press(Qt::Key_Home);
    while (!samples->currentItem()->text().startsWith(QStringLiteral("same-lines"))) {
        const int before = samples->currentRow();
        press(Qt::Key_Down);
        QVERIFY(samples->currentRow() > before);
    }
    press(Qt::Key_Return);
    QTRY_COMPARE_WITH_TIMEOUT(window.currentPage(), window.workbench(), 30000);
    QVERIFY(window.session()->path().startsWith(m_folder.path()));
    // The board has the keyboard.
    QTRY_VERIFY(window.driftBoard()->list()->hasFocus());
}

void TestKeyboard::boardMenu()
{
    const auto window = openSample(QStringLiteral("same-lines"));
    QVERIFY(window);
    QVERIFY(window->driftBoard()->list()->hasFocus());
    pressMenuKey();
    QTRY_VERIFY(QApplication::activePopupWidget());
    QString title;
    QVERIFY(withDialog([] { press(Qt::Key_R); },
                       [&](QDialog* dialog) {
                           title = dialog->windowTitle();
                           // The field has the keyboard, and its arrows move through the list.
                           const auto* list = dialog->findChild<QListWidget*>();
                           QVERIFY(list->count() > 2 && !list->hasFocus());
                           press(Qt::Key_Down);
                           QCOMPARE(list->currentRow(), 1);
                           press(Qt::Key_Up);
                           QCOMPARE(list->currentRow(), 0);
                           type(QStringLiteral("moon"));
                           QCOMPARE(list->count(), 1);
                       }));
    QCOMPARE(title, QStringLiteral("Replay topic/metric-heights onto"));
}

void TestKeyboard::newBaseIsPickedInTheGraph()
{
    const auto window = openSample(QStringLiteral("same-lines"));
    QVERIFY(window);
    auto* list = window->graph()->findChild<GraphList*>();
    press(Qt::Key_F6);
    QVERIFY(list->hasFocus());
    pressMenuKey();
    QTRY_VERIFY(QApplication::activePopupWidget());
    QVERIFY(choose(QStringLiteral("Replay topic/metric-heights onto")));
    const SnapshotPtr snapshot = window->session()->snapshot();
    const int wanted = int(*window->session()->lanes()->displayRowOf(snapshot->mainLineRef()->row));
    press(Qt::Key_Home);
    for (int i = 0; i < wanted; ++i)
        press(Qt::Key_Down);
    press(Qt::Key_Return);
    QTRY_VERIFY_WITH_TIMEOUT(window->flow()->run() && !window->flow()->isBusy(), 30000);
    QCOMPARE(window->flow()->plan().onto.hex(), snapshot->mainLineRef()->tip.hex());
    QVERIFY(window->dryRunPage()->isAncestorOf(QApplication::focusWidget()));
    // Escape while picking leaves everything as it was.
    press(Qt::Key_C, Qt::AltModifier);
    QTRY_VERIFY(!window->dryRunPage()->isVisible());
    QVERIFY(window->driftBoard()->list()->hasFocus());
    press(Qt::Key_F6);
    pressMenuKey();
    QTRY_VERIFY(QApplication::activePopupWidget());
    QVERIFY(choose(QStringLiteral("Replay topic/metric-heights onto")));
    press(Qt::Key_Escape);
    press(Qt::Key_Return);
    QTest::qWait(0);
    QVERIFY(!window->flow()->isActive());
}

void TestKeyboard::panesTakeTurns()
{
    const auto window = openSample(QStringLiteral("same-lines"));
    QVERIFY(window);
    QSet<const QWidget*> seen;
    for (int i = 0; i < 4; ++i) {
        press(Qt::Key_F6);
        seen.insert(QApplication::focusWidget());
    }
    QCOMPARE(seen.size(), 4);
    QVERIFY(window->driftBoard()->list()->hasFocus());
}

void TestKeyboard::pagesGiveTheKeyboardBack()
{
    const auto window = openSample(QStringLiteral("same-lines"));
    QVERIFY(window);
    auto* list = window->graph()->findChild<GraphList*>();
    press(Qt::Key_F6);
    QVERIFY(list->hasFocus());
    const auto thereAndBack = [&](const QWidget* page) {
        QTRY_COMPARE_WITH_TIMEOUT(window->currentPage(), page, 30000);
        QVERIFY(page == QApplication::focusWidget() || page->isAncestorOf(QApplication::focusWidget()));
        press(Qt::Key_Escape);
        QCOMPARE(window->currentPage(), window->workbench());
        QVERIFY(list->hasFocus());
    };
    press(Qt::Key_F9);
    thereAndBack(window->logbookPage());
    press(Qt::Key_F1);
    thereAndBack(window->walkthroughPage());
    press(Qt::Key_B, Qt::AltModifier);
    press(Qt::Key_U);
    thereAndBack(window->cleanUpPage());
    press(Qt::Key_F7, Qt::ShiftModifier);
    thereAndBack(window->overwritePage());
}

// The row that was chosen stays chosen when the repository changes underneath.
void TestKeyboard::choiceOutlivesAChange()
{
    const auto window = openSample(QStringLiteral("same-lines"));
    QVERIFY(window);
    QCOMPARE(window->driftBoard()->selected(), std::string("refs/heads/topic/metric-heights"));
    QListView* list = window->driftBoard()->list();
    for (int i = 0; i < 3 && window->driftBoard()->selected() != "refs/heads/topic/moon-phase"; ++i)
        press(Qt::Key_Down);
    QCOMPARE(window->driftBoard()->selected(), std::string("refs/heads/topic/moon-phase"));
    QSignalSpy forecast(window->session(), &Session::forecastsDone);
    const QString path = window->session()->path();
    QCOMPARE(runProgram("git", {"branch", "topic/later", "main"}, path).exitCode, 0);
    press(Qt::Key_F5);
    QTRY_VERIFY_WITH_TIMEOUT(!forecast.isEmpty(), 30000);
    QCOMPARE(window->driftBoard()->selected(), std::string("refs/heads/topic/moon-phase"));
    QVERIFY(list->hasFocus());
}

QTEST_MAIN(TestKeyboard)
#include "test_keyboard.moc"

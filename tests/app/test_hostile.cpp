// SPDX-License-Identifier: MIT
//
// The sample hostile, walked through in the window: names and texts made to deceive are plain text on every page, in every
// menu, dialog, tool tip, title and accessible name, and push nothing out of its place.
#include "app/drift/clean_up_page.h"
#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/history/history_model.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "app/walkthrough/walkthrough_page.h"
#include "core/samples/samples.h"
#include "tests/support/keyboard.h"
#include "tests/support/plain_text.h"
#include "tests/support/temp_repository.h"
#include "tests/support/whole_job.h"

#include <QDialog>
#include <QLabel>
#include <QListView>
#include <QMenu>
#include <QTextDocumentFragment>
#include <QToolTip>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr const char* topic = "refs/heads/topic/\u202Ecipot";
const QSize size(1360, 860);

} // namespace

class TestHostile : public QObject {
    Q_OBJECT

    // Everything in the window as it is now.
    void look(const QString& step);
    bool startDryRun(const std::string& ref);

    QTemporaryDir m_folder;
    Sample m_sample;
    std::unique_ptr<MainWindow> m_window;

  private Q_SLOTS:
    void init();
    void cleanupTestCase();
    void board();
    void graphAndPanel();
    void menus();
    void dialogs();
    void replay();
    void overwritten();
    void labelsStayInTheirPlace();
    void theJudgeSees_data();
    void theJudgeSees();
};

void TestHostile::look(const QString& step)
{
    QCoreApplication::processEvents();
    const QImage image = m_window->grab().toImage(); // tool tips of what is elided are made while painting
    QCOMPARE(image.size(), size);
    QCOMPARE(m_window->size(), size);
    QVERIFY2(m_window->minimumSizeHint().width() <= size.width() &&
                 m_window->minimumSizeHint().height() <= size.height(),
             qPrintable(QStringLiteral("%1 wants %2 x %3")
                            .arg(step)
                            .arg(m_window->minimumSizeHint().width())
                            .arg(m_window->minimumSizeHint().height())));
    const QStringList problems = textProblems(m_window.get());
    QVERIFY2(problems.isEmpty(), qPrintable(step + QLatin1Char('\n') + problems.join(QLatin1Char('\n'))));
}

void TestHostile::init()
{
    m_window.reset();
    static int built = 0;
    m_sample = buildSample("hostile", m_folder.filePath(QString::number(++built)).toStdString()).value();
    // No word to break it at.
    const QString clone = QString::fromStdString(m_sample.clone.string());
    const QString subject(3000, QLatin1Char('w')), name = QStringLiteral("topic/") + QString(180, QLatin1Char('v'));
    const GitRun made = runProgram("git", {"commit-tree", "-p", "main", "-m", subject, "main^{tree}"}, clone);
    QCOMPARE(runProgram("git", {"branch", name, QString::fromLatin1(made.out.trimmed())}, clone).exitCode, 0);
    m_window = std::make_unique<MainWindow>();
    m_window->resize(size);
    QVERIFY(showActive(m_window.get()));
    QSignalSpy forecast(m_window->session(), &Session::forecastsDone);
    m_window->openRepository(clone);
    QTRY_VERIFY_WITH_TIMEOUT(!forecast.isEmpty(), 30000);
    look(QStringLiteral("open"));
}

void TestHostile::cleanupTestCase()
{
    m_window.reset();
    // QDir cannot remove a name that is not UTF-8.
    std::filesystem::remove_all(m_folder.path().toStdString());
}

void TestHostile::board()
{
    QListView* list = m_window->driftBoard()->list();
    QVERIFY(list->model()->rowCount() > 6);
    for (int i = 0; i < list->model()->rowCount(); ++i) {
        list->setCurrentIndex(list->model()->index(i, 0));
        look(list->model()->index(i, 0).data().toString());
    }
}

void TestHostile::graphAndPanel()
{
    auto* list = m_window->graph()->findChild<GraphList*>();
    auto* model = m_window->graph()->findChild<HistoryModel*>();
    QVERIFY(model->rowCount() > 6);
    m_window->graph()->setFocus();
    press(Qt::Key_Home);
    for (int i = 0; i < model->rowCount(); ++i) {
        QSignalSpy loaded(m_window->commitPanel(), &CommitPanel::loaded);
        if (i > 0) {
            press(Qt::Key_Down);
            QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
        }
        QTRY_VERIFY(model->summary(i));
        look(model->summary(i)->subject);
        // The tool tip is made when it is asked for, and reads back as what it says.
        const QPoint at = list->rectOf(i).center();
        QHelpEvent help(QEvent::ToolTip, at, list->viewport()->mapToGlobal(at));
        QCoreApplication::sendEvent(list->viewport(), &help);
        const QString tip = QToolTip::text();
        const QString reads = Qt::mightBeRichText(tip) ? QTextDocumentFragment::fromHtml(tip).toPlainText() : tip;
        QCOMPARE(QString(reads).remove(QChar(0x200B)).simplified(), model->toolTip(i).simplified());
        QToolTip::hideText();
    }
    QCOMPARE(list->current(), model->rowCount() - 1);
}

void TestHostile::menus()
{
    const auto lookAtMenu = [&](const QString& step) {
        QTRY_VERIFY(QApplication::activePopupWidget());
        const QStringList problems = textProblems(QApplication::activePopupWidget());
        QVERIFY2(problems.isEmpty(), qPrintable(step + problems.join(QLatin1Char('\n'))));
        QVERIFY2(QApplication::activePopupWidget()->width() < size.width(), qPrintable(step));
        press(Qt::Key_Escape);
        QTRY_VERIFY(!QApplication::activePopupWidget());
    };
    auto* list = m_window->graph()->findChild<GraphList*>();
    auto* model = m_window->graph()->findChild<HistoryModel*>();
    m_window->graph()->setFocus();
    press(Qt::Key_Home);
    for (int i = 0; i < model->rowCount(); ++i) {
        pressMenuKey();
        lookAtMenu(QStringLiteral("row %1").arg(i));
        press(Qt::Key_Down);
    }
    QVERIFY(list->current() >= 0);
    m_window->driftBoard()->setFocus();
    pressMenuKey();
    lookAtMenu(QStringLiteral("board"));
}

void TestHostile::dialogs()
{
    m_window->driftBoard()->select(topic);
    for (const Qt::Key key : {Qt::Key_R, Qt::Key_M, Qt::Key_D}) {
        const QString step = QKeySequence(key).toString();
        QVERIFY2(withDialog(
                     [key] {
                         press(Qt::Key_B, Qt::AltModifier);
                         press(key);
                     },
                     [&](QDialog* dialog) {
                         const QStringList problems = textProblems(dialog);
                         QVERIFY2(problems.isEmpty(), qPrintable(step + problems.join(QLatin1Char('\n'))));
                         QVERIFY2(dialog->width() < size.width(), qPrintable(step));
                         press(Qt::Key_Escape);
                     }),
                 qPrintable(step));
    }
}

bool TestHostile::startDryRun(const std::string& ref)
{
    const SnapshotPtr snapshot = m_window->session()->snapshot();
    const Ref* branch = snapshot->findRef(ref);
    const Ref* main = snapshot->mainLineRef();
    if (!branch)
        return false;
    m_window->startReplay({branch->name, {}, branch->tip, true, toText(branch->branch)},
                          {main->tip, main->name, toText(main->shortName)});
    return waitFor([&] { return m_window->flow()->run() && !m_window->flow()->isBusy(); });
}

void TestHostile::replay()
{
    QVERIFY(startDryRun(topic));
    look(QStringLiteral("dry run"));
    QSignalSpy walked(m_window->walkthroughPage(), &WalkthroughPage::stepChanged);
    press(Qt::Key_N, Qt::AltModifier);
    QTRY_COMPARE(m_window->currentPage(), m_window->walkthroughPage());
    for (int i = 0; i < m_window->walkthroughPage()->stepCount(); ++i) {
        look(QStringLiteral("walkthrough %1").arg(i));
        press(Qt::Key_Right);
    }
    press(Qt::Key_Escape);
    press(Qt::Key_S, Qt::AltModifier);
    SettlePage* page = m_window->settlePage();
    QTRY_VERIFY_WITH_TIMEOUT(m_window->currentPage() == page && findButton(page, QStringLiteral("your-commit")), 30000);
    look(QStringLiteral("settle"));
    press(Qt::Key_2, Qt::AltModifier);
    QTRY_VERIFY_WITH_TIMEOUT(!m_window->flow()->isBusy() && m_window->flow()->run()->clean, 30000);
    look(QStringLiteral("settled"));
    press(Qt::Key_F8);
    QTRY_COMPARE_WITH_TIMEOUT(m_window->currentPage(), m_window->workbench(), 30000);
    look(QStringLiteral("ready"));
    QSignalSpy applied(m_window->flow(), &ReplayFlow::applied);
    press(Qt::Key_A, Qt::AltModifier);
    QTRY_VERIFY_WITH_TIMEOUT(!applied.isEmpty(), 30000);
    look(QStringLiteral("applied"));
    press(Qt::Key_F9);
    const auto* entries = m_window->logbookPage()->findChild<QAbstractItemView*>(QStringLiteral("entries"));
    QTRY_VERIFY_WITH_TIMEOUT(entries->model()->rowCount() > 0, 30000);
    look(QStringLiteral("logbook"));
    m_window->showCleanUp();
    look(QStringLiteral("clean up"));
    // The other branch's name goes into more sentences.
    QTRY_VERIFY_WITH_TIMEOUT(!m_window->session()->isLoading() && m_window->session()->drift(), 30000);
    QVERIFY(startDryRun("refs/heads/topic/R&D-{%1|%2|%3|%4|%5|%6|%7}"));
    look(QStringLiteral("dry run of R&D"));
}

void TestHostile::overwritten()
{
    m_window->driftBoard()->select(topic);
    press(Qt::Key_F7, Qt::ShiftModifier);
    QTRY_COMPARE_WITH_TIMEOUT(m_window->currentPage(), m_window->overwritePage(), 30000);
    // A foreign commit: its author stands in the sentence that has to be confirmed.
    QCOMPARE(m_window->overwritePage()->check().foreign.size(), std::size_t(1));
    look(QStringLiteral("overwrite check"));
    press(Qt::Key_I, Qt::AltModifier);
    QTRY_VERIFY(findButton(m_window->overwritePage(), QStringLiteral("push")));
    QSignalSpy said(m_window->session(), &Session::said);
    clickButton(m_window->overwritePage(), QStringLiteral("push"));
    QTRY_VERIFY_WITH_TIMEOUT(!said.isEmpty(), 30000);
    look(QStringLiteral("pushed"));
    press(Qt::Key_F9);
    const auto* entries = m_window->logbookPage()->findChild<QAbstractItemView*>(QStringLiteral("entries"));
    QTRY_VERIFY_WITH_TIMEOUT(entries->model()->rowCount() > 0, 30000);
    look(QStringLiteral("logbook"));
}

// Sentences that wrap have no say in how wide the window is, however long a word in them.
void TestHostile::labelsStayInTheirPlace()
{
    const QString word(4000, QLatin1Char('w'));
    PlainLabel label;
    label.setText(word);
    QVERIFY(label.minimumSizeHint().width() < 200);
    label.setWrapped(true);
    QVERIFY2(label.minimumSizeHint().width() < 500, qPrintable(QString::number(label.minimumSizeHint().width())));
    QCOMPARE(label.fullText(), word);
    QCOMPARE(label.accessibleName(), word);
    m_window->notice()->say(NoticeBar::Trouble, word);
    look(QStringLiteral("notice"));
}

void TestHostile::theJudgeSees_data()
{
    QTest::addColumn<QString>("text");
    QTest::addColumn<bool>("isTip");
    QTest::newRow("markup") << QStringLiteral("<b>bold</b>") << false;
    QTest::newRow("direction") << QStringLiteral("a\u202Eb") << false;
    QTest::newRow("escape") << QStringLiteral("a\x1b[31m") << false;
    QTest::newRow("filled") << QStringLiteral("{3|2|%3|%4|%5|%6|%7}") << false;
    QTest::newRow("tip with markup") << QStringLiteral("<b>bold</b>") << true;
    QTest::newRow("tip escaped for nothing") << QStringLiteral("R&amp;D") << true;
}

void TestHostile::theJudgeSees()
{
    QFETCH(QString, text);
    QFETCH(bool, isTip);
    QWidget window;
    QCOMPARE(textProblems(&window), QStringList());
    QLabel label(&window); // reads markup, as no label of the program does
    isTip ? label.setToolTip(text) : label.setText(text);
    QVERIFY(!textProblems(&window).isEmpty());
}

QTEST_MAIN(TestHostile)
#include "test_hostile.moc"

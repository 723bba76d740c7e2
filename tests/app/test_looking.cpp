// SPDX-License-Identifier: MIT
//
// Finding one's way in the window, by key: go to a branch, a tag, a commit, a merge base, the next commit of a place; every
// filter; what the commit panel shows and copies; and what the graph looked like, found again in the same repository.
// What is found is compared with git's own answer.
#include "app/history/commit_panel.h"
#include "app/history/filter_bar.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/history/row_menu.h"
#include "app/support/text.h"
#include "app/window/main_window.h"
#include "tests/support/keyboard.h"
#include "tests/support/temp_repository.h"

#include <QAction>
#include <QCheckBox>
#include <QClipboard>
#include <QDialog>
#include <QDialogButtonBox>
#include <QPushButton>
#include <QSettings>
#include <QStandardPaths>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestLooking : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void initTestCase();
    void init();
    void cleanup() { m_window.reset(); }
    void goesToWhatIsTyped_data();
    void goesToWhatIsTyped();
    void goesToNothing();
    void goesToTheMergeBase();
    void goesAlongAPlace();
    void goesIntoFoldsWithinFolds();
    void filters_data();
    void filters();
    void foldsHideNoMatches();
    void whiteSpaceIsLeftOut();
    void comparesAnyTwo();
    void comparesByKey();
    void copiesPatches();
    void refusesToCopyWhatTheClipboardWouldAlter();
    void staysAsItWasLeft();
    void saysWhatIsNewSinceTheLastLook();

  private:
    std::string git(const QStringList& arguments) const { return m_repo.git(arguments); }
    Row rowOf(const char* name) const
    {
        return snapshot().history.find(*Oid::parse(git({"rev-parse", QString(name) + "^{commit}"})));
    }
    const Snapshot& snapshot() const { return *m_window->session()->snapshot(); }
    GraphView& graph() const { return *m_window->graph(); }
    GraphList& list() const { return *graph().findChild<GraphList*>(); }
    CommitPanel& panel() const { return *m_window->commitPanel(); }
    void open();
    void select(Row one, Row other);

    TempRepository m_repo;
    std::unique_ptr<MainWindow> m_window;
};

// A main line of 30 in upstream (the clone's is 2 behind), merged and labelled topic/landed, an own topic, one that has been
// left alone for years, a tag.
void TestLooking::initTestCase()
{
    QStandardPaths::setTestModeEnabled(true);
    QCoreApplication::setOrganizationName("espalier-test-looking");
    QCoreApplication::setApplicationName("espalier-test-looking");
    QSettings().clear();
    git({"remote", "add", "upstream", "https://upstream.example/tidebook.git"});
    git({"remote", "add", "origin", "https://fork.example/tidebook.git"});
    std::string tip = m_repo.commitFiles({{"core/a.txt", "one\n"}, {"docs/b.txt", "b\n"}}, "Root", {}, "main");
    const std::string old = m_repo.writeRaw(
        "commit",
        "tree " + git({"rev-parse", "main^{tree}"}) + "\nparent " + tip +
            "\nauthor Old Hand <old@example.org> 1500000000 +0000\ncommitter Old Hand <old@example.org> 1500000000 "
            "+0000\n\nLeft alone\n");
    git({"update-ref", "refs/heads/topic/old", old.c_str()});
    for (int count = 1; count <= 30; ++count) {
        if (count == 10) {
            const std::string side =
                m_repo.commitFiles({{"docs/b.txt", "side\n"}}, "Landed side", {tip}, "topic/landed");
            tip = m_repo.commitFiles({{"docs/b.txt", "side\n"}}, "Merge the side", {tip, side}, "main");
        }
        tip = m_repo.commitFiles({{"core/a.txt", std::to_string(count) + "\n"}}, "Main " + std::to_string(count), {tip},
                                 "main");
        if (count == 20)
            git({"tag", "v1", "main"});
    }
    git({"update-ref", "refs/remotes/upstream/main", "main"});
    git({"symbolic-ref", "refs/remotes/upstream/HEAD", "refs/remotes/upstream/main"});
    git({"update-ref", "refs/heads/main", "main~2"});
    std::string own = git({"rev-parse", "v1"});
    own = m_repo.commitFiles({{"core/c.txt", "a b\n\tx\n"}}, "Add c", {own}, "topic/own");
    own = m_repo.commitFiles({{"core/c.txt", "a  b\n    x\ny\n"}}, "Space c out, and y", {own}, "topic/own");
    git({"update-ref", "refs/remotes/origin/topic/own", "topic/own^"});
    git({"reset", "-q", "--hard", "main"});
}

void TestLooking::init()
{
    m_window = std::make_unique<MainWindow>();
    QVERIFY(showActive(m_window.get()));
    open();
}

void TestLooking::open()
{
    QSignalSpy drift(m_window->session(), &Session::driftChanged);
    m_window->openRepository(m_repo.path());
    QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), 30000);
}

// Two rows that are not neighbours, with the pointer.
void TestLooking::select(Row one, Row other)
{
    for (const auto& [row, modifiers] : {std::pair(one, Qt::KeyboardModifiers()), {other, Qt::ControlModifier}}) {
        list().centre(int(row));
        const QRect at = list().rectOf(int(row));
        QTest::mouseClick(list().viewport(), Qt::LeftButton, modifiers,
                          {list().viewport()->width() - 40, at.center().y()});
    }
}

void TestLooking::goesToWhatIsTyped_data()
{
    QTest::addColumn<QString>("typed");
    QTest::addColumn<QString>("to");
    QTest::newRow("a branch") << "topic/own" << "topic/own";
    QTest::newRow("a part of a name") << "landed" << "topic/landed";
    QTest::newRow("another place's branch") << "origin/topic" << "origin/topic/own";
    QTest::newRow("a tag") << "v1" << "v1";
    QTest::newRow("the main line first") << "main" << "upstream/main";
    QTest::newRow("nothing typed: the main line") << "" << "upstream/main";
    const QString id = QString::fromStdString(m_repo.git({"rev-parse", "main~7"}));
    QTest::newRow("an id") << id << id;
    QTest::newRow("the beginning of an id") << id.left(9) << id;
    QTest::newRow("in capitals") << id.left(9).toUpper() << id;
}

void TestLooking::goesToWhatIsTyped()
{
    QFETCH(QString, typed);
    QFETCH(QString, to);
    QVERIFY(withDialog([] { press(Qt::Key_F4); },
                       [&](QDialog*) {
                           type(typed);
                           press(Qt::Key_Return);
                       }));
    QCOMPARE(graph().currentRow(), rowOf(qPrintable(to)));
    QVERIFY(list().viewport()->rect().intersects(list().rectOf(list().current())));
}

void TestLooking::goesToNothing()
{
    graph().goTo(rowOf("v1"));
    QVERIFY(withDialog([] { press(Qt::Key_F4); },
                       [&](QDialog* dialog) {
                           type("no such thing");
                           QVERIFY(!dialog->findChild<QDialogButtonBox*>()->button(QDialogButtonBox::Ok)->isEnabled());
                           press(Qt::Key_Escape);
                       }));
    QCOMPARE(graph().currentRow(), rowOf("v1"));
}

void TestLooking::goesToTheMergeBase()
{
    graph().goTo(rowOf("topic/own"));
    press(Qt::Key_F4, Qt::ShiftModifier);
    QCOMPARE(snapshot().history.id(graph().currentRow()).hex(), git({"merge-base", "topic/own", "upstream/main"}));
    // Of two that are selected.
    select(rowOf("topic/own"), rowOf("topic/landed"));
    QCOMPARE(graph().selectedRows().size(), std::size_t(2));
    press(Qt::Key_F4, Qt::ShiftModifier);
    QCOMPARE(snapshot().history.id(graph().currentRow()).hex(), git({"merge-base", "topic/own", "topic/landed"}));
}

void TestLooking::goesAlongAPlace()
{
    // From the fork's commit there is none further; from the own topic's tip the next of the clone alone is the old branch.
    graph().goTo(rowOf("topic/own"));
    graph().setFocus();
    press(Qt::Key_Down, Qt::ControlModifier);
    QCOMPARE(graph().currentRow(), rowOf("topic/old"));
    press(Qt::Key_Up, Qt::ControlModifier);
    QCOMPARE(graph().currentRow(), rowOf("topic/own"));
    graph().goToNextOfPlace(-1);
    QCOMPARE(graph().currentRow(), rowOf("topic/own"));
    graph().goToNextOfPlace(1);
    QCOMPARE(graph().currentRow(), rowOf("topic/old"));
}

// The old branch is in the row of the commit on which it stands; the landed one in that of its merge, which is in a run.
void TestLooking::goesIntoFoldsWithinFolds()
{
    for (const char* name : {"topic/landed", "topic/old"}) {
        graph().setFolded(true);
        QTRY_VERIFY_WITH_TIMEOUT(list().model()->rowCount() < 15, 30000);
        const auto before = list().model()->lanes()->displayRowOf(rowOf(name));
        QVERIFY(before && list().model()->rowAt(int(*before)) != rowOf(name));
        graph().goTo(rowOf(name));
        QTRY_COMPARE_WITH_TIMEOUT(graph().currentRow(), rowOf(name), 30000);
        QVERIFY(list().model()->rowCount() < int(snapshot().history.size()));
        graph().setFolded(false);
        QTRY_COMPARE_WITH_TIMEOUT(list().model()->rowCount(), int(snapshot().history.size()), 30000);
    }
}

void TestLooking::filters_data()
{
    QTest::addColumn<QString>("typed");
    QTest::addColumn<QStringList>("log"); // of git log --all
    const auto row = [](const char* typed, const QStringList& log) { QTest::newRow(typed) << QString(typed) << log; };
    row("main 12", {"-i", "--all-match", "--grep=main", "--grep=12"});
    row("\"main 1\"", {"-i", "--grep=main 1"});
    row("person:old", {"--author=Old Hand"});
    row("path:docs", {"--full-history", "--", "docs"});
    row("path:core/c.txt", {"--full-history", "--", "core/c.txt"});
    row("until:2017-12-31", {"--until=2017-12-31T23:59:59"});
    row("since:2018-01-01", {"--since=2018-01-01T00:00:00"});
    row("path:core add", {"-i", "--full-history", "--grep=add", "--", "core"});
    row("nobody says this", {"--grep=nobody says this"});
}

void TestLooking::filters()
{
    QFETCH(QString, typed);
    QFETCH(QStringList, log);
    const qsizetype paths = log.indexOf("--");
    QStringList command{"log", "--all", "--no-merges", "--format=%H"};
    command << log.mid(0, paths < 0 ? log.size() : paths);
    if (paths >= 0)
        command << log.mid(paths);
    QStringList expected = QString::fromStdString(git(command)).split('\n', Qt::SkipEmptyParts);
    press(Qt::Key_F, Qt::ControlModifier);
    type(typed);
    auto* bar = graph().findChild<FilterBar*>();
    press(Qt::Key_Return);
    QTRY_VERIFY_WITH_TIMEOUT(!bar->result().isEmpty() && bar->result() != GraphView::tr("Searching\u2026"), 30000);
    QStringList found;
    for (const int display : list().matches()) {
        const Row at = list().model()->rowAt(display);
        if (snapshot().history.parents(at).size() < 2) // git log shows merges by other rules
            found << QString::fromStdString(snapshot().history.id(at).hex());
    }
    found.sort();
    expected.sort();
    QCOMPARE(found, expected);
    QVERIFY(typed.startsWith("nobody") == found.isEmpty());
}

// Asked for alone, matches are all there, whatever is folded.
void TestLooking::foldsHideNoMatches()
{
    graph().setFolded(true);
    QTRY_VERIFY_WITH_TIMEOUT(list().model()->rowCount() < 15, 30000);
    auto* bar = graph().findChild<FilterBar*>();
    bar->setText("main");
    QTRY_VERIFY_WITH_TIMEOUT(!list().matches().empty(), 30000);
    bar->setOnlyMatches(true);
    Q_EMIT bar->onlyMatchesChanged(true);
    QTRY_COMPARE_WITH_TIMEOUT(list().model()->rowCount(), 30, 30000);
    QVERIFY(graph().isFolded());
    bar->setText({});
    QTRY_VERIFY_WITH_TIMEOUT(list().model()->rowCount() < 15, 30000);
}

void TestLooking::whiteSpaceIsLeftOut()
{
    QSignalSpy loaded(&panel(), &CommitPanel::loaded);
    graph().goTo(rowOf("topic/own"));
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    const auto counts = [&] {
        return panel().findChild<QTreeWidget*>()->topLevelItem(0)->text(2) +
               panel().findChild<QTreeWidget*>()->topLevelItem(0)->text(3);
    };
    const QString all = counts();
    QVERIFY2(all.contains("3") && all.contains("2"), qPrintable(all)); // git diff --numstat: 3 added, 2 deleted
    loaded.clear();
    for (QCheckBox* box : panel().findChildren<QCheckBox*>())
        if (box->text().contains("white space"))
            box->click();
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    const QString without = counts(); // git diff -w --numstat: 1 added, none deleted
    QVERIFY2(without.contains("1") && !without.contains("3") && !without.contains("2"), qPrintable(without));
}

void TestLooking::comparesAnyTwo()
{
    QSignalSpy loaded(&panel(), &CommitPanel::loaded);
    const Row older = rowOf("topic/old"), newer = rowOf("topic/own");
    select(newer, older);
    RowMenu menu(snapshot(), graph().selectedRows(), older, -1, nullptr, &graph());
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000); // the single commit was on its way
    loaded.clear();
    QAction* compare = nullptr;
    for (QAction* action : menu.actions())
        if (action->text() == RowMenu::tr("Compare with selected"))
            compare = action;
    QVERIFY(compare && compare->isEnabled());
    compare->trigger();
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QStringList files;
    const auto* tree = panel().findChild<QTreeWidget*>();
    for (int at = 0; at < tree->topLevelItemCount(); ++at)
        files << tree->topLevelItem(at)->text(0);
    QCOMPARE(files, QString::fromStdString(git({"diff", "--name-only", "topic/old", "topic/own"})).split('\n'));
    // Its patch leads from one to the other.
    QGuiApplication::clipboard()->clear();
    panel().copyPatch();
    QTRY_VERIFY_WITH_TIMEOUT(!QGuiApplication::clipboard()->text().isEmpty(), 30000);
    git({"read-tree", "topic/old"});
    m_repo.git({"apply", "--cached", "--whitespace=nowarn"}, QGuiApplication::clipboard()->text().toUtf8());
    QCOMPARE(git({"write-tree"}), git({"rev-parse", "topic/own^{tree}"}));
    git({"read-tree", "HEAD"});
}

void TestLooking::comparesByKey()
{
    QSignalSpy loaded(&panel(), &CommitPanel::loaded);
    graph().goTo(rowOf("topic/own"));
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    loaded.clear();
    QSignalSpy asked(&graph(), &GraphView::compareRequested);
    QAction* compare = nullptr;
    for (QAction* action : m_window->findChildren<QAction*>())
        if (action->text() == MainWindow::tr("Comp&are with…"))
            compare = action;
    QVERIFY(compare);
    QVERIFY(withDialog([&] { compare->trigger(); },
                       [](QDialog*) {
                           type("topic/old");
                           press(Qt::Key_Return);
                       }));
    QCOMPARE(asked.size(), 1);
    QCOMPARE(asked[0][0].value<Oid>().hex(), git({"rev-parse", "topic/old"}));
    QCOMPARE(asked[0][1].value<Oid>().hex(), git({"rev-parse", "topic/own"}));
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QCOMPARE(panel().findChild<QTreeWidget*>()->topLevelItemCount(), 3);
}

void TestLooking::copiesPatches()
{
    QSignalSpy loaded(&panel(), &CommitPanel::loaded);
    graph().goTo(rowOf("topic/own"));
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QGuiApplication::clipboard()->clear();
    panel().copyPatch();
    QTRY_VERIFY_WITH_TIMEOUT(!QGuiApplication::clipboard()->text().isEmpty(), 30000);
    git({"read-tree", "topic/own^"});
    m_repo.git({"apply", "--cached", "--whitespace=nowarn"}, QGuiApplication::clipboard()->text().toUtf8());
    QCOMPARE(git({"write-tree"}), git({"rev-parse", "topic/own^{tree}"}));
    git({"read-tree", "HEAD"});
}

void TestLooking::refusesToCopyWhatTheClipboardWouldAlter()
{
    const std::string latin =
        m_repo.commitFiles({{"core/c.txt", "caf\xE9\n"}}, "Latin", {git({"rev-parse", "topic/own"})});
    QSignalSpy failed(&panel(), &CommitPanel::failed);
    QSignalSpy loaded(&panel(), &CommitPanel::loaded);
    panel().showCommit(*Oid::parse(latin));
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QGuiApplication::clipboard()->setText("what was there");
    panel().copyPatch();
    QTRY_COMPARE_WITH_TIMEOUT(failed.size(), 1, 30000);
    QVERIFY2(failed[0][0].toString().contains("not UTF-8"), qPrintable(failed[0][0].toString()));
    QCOMPARE(QGuiApplication::clipboard()->text(), QString("what was there"));
}

// Folded and focused here, neither in another repository, and here again as it was.
void TestLooking::staysAsItWasLeft()
{
    m_window->restoreLayout();
    open();
    graph().focusOn(rowOf("topic/own"));
    graph().setFolded(true);
    QTRY_VERIFY_WITH_TIMEOUT(list().model()->rowCount() < 12, 30000);
    const int rows = list().model()->rowCount();
    TempRepository other;
    other.commitFiles({{"a.txt", "1\n"}}, "Only", {}, "main");
    m_window->openRepository(other.path());
    QTRY_COMPARE_WITH_TIMEOUT(list().model()->rowCount(), 1, 30000);
    QVERIFY(!graph().isFolded() && !graph().isFocused());
    const QSize size = m_window->size();
    m_window->close();
    m_window = std::make_unique<MainWindow>();
    m_window->restoreLayout();
    QVERIFY(showActive(m_window.get()));
    open();
    // Qt makes a restored window no larger than the screen, and less room gathers more; with the room come the rows.
    QTRY_VERIFY_WITH_TIMEOUT(graph().isFocused() && list().model()->rowCount() > 1, 30000);
    m_window->resize(size);
    QTRY_COMPARE_WITH_TIMEOUT(list().model()->rowCount(), rows, 30000);
    QVERIFY(graph().isFolded() && graph().isFocused());
    QSettings().clear();
}

void TestLooking::saysWhatIsNewSinceTheLastLook()
{
    const auto news = [this] { return m_window->findChild<QWidget*>("newsLine"); };
    const auto forecast = [this] {
        QSignalSpy done(m_window->session(), &Session::forecastsDone);
        open();
        return !done.isEmpty() || done.wait(30000);
    };
    m_window->restoreLayout();
    QVERIFY(forecast());
    QVERIFY(!news()->isVisible()); // there was no look before
    m_window->close();
    const std::string was = git({"rev-parse", "upstream/main"});
    m_repo.commitFiles({{"core/c.txt", "theirs\n"}}, "Clash with c", {was}, "ahead");
    git({"update-ref", "refs/remotes/upstream/main", "ahead"});
    git({"branch", "-D", "ahead"});
    m_window = std::make_unique<MainWindow>();
    m_window->restoreLayout();
    QVERIFY(showActive(m_window.get()));
    QVERIFY(forecast());
    QTRY_VERIFY(news()->isVisible());
    QCOMPARE(static_cast<PlainLabel*>(news())->text(),
             QString("1 new commit on upstream/main since your last look · now in conflict: topic/own"));
    m_window->close();
    m_window = std::make_unique<MainWindow>();
    m_window->restoreLayout();
    QVERIFY(showActive(m_window.get()));
    QVERIFY(forecast());
    QVERIFY(!news()->isVisible()); // said once
    git({"update-ref", "refs/remotes/upstream/main", was.c_str()});
    QSettings().clear();
}

QTEST_MAIN(TestLooking)
#include "test_looking.moc"

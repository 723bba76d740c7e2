// SPDX-License-Identifier: MIT
//
// The window on repositories as people have them: each odd one opens, or is refused with one clear line; and the whole
// job on a sample, by mouse, from the drag to taking everything back.
#include "app/drift/clean_up_page.h"
#include "app/history/commit_panel.h"
#include "app/history/graph_view.h"
#include "app/session/replay_flow.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "app/window/places_strip.h"
#include "app/window/start_page.h"
#include "core/history/branch_names.h"
#include "core/keep/logbook.h"
#include "core/refs/ref_name.h"
#include "core/samples/samples.h"
#include "tests/support/job_check.h"
#include "tests/support/job_outcome.h"
#include "tests/support/temp_repository.h"

#include <QMenuBar>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestMainWindow : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void opens_data();
    void opens();
    void refuses_data();
    void refuses();
    void missingObject_data();
    void missingObject();
    void wholeJob();
    void cleansUp();
    void closesDuringWork();
    void menusHaveMnemonics();
    void branchNames_data();
    void branchNames();
};

namespace {

enum class Odd { Plain, Detached, Unborn, Bare, OneRemote, Unrelated, Rebase };

std::unique_ptr<TempRepository> make(Odd odd)
{
    auto repo = std::make_unique<TempRepository>(odd == Odd::Bare ? TempRepository::Bare : TempRepository::Worktree);
    if (odd == Odd::Unborn)
        return repo;
    const std::string first = repo->commitFiles({{"a.txt", "one\n"}}, "First", {}, "main");
    const std::string second = repo->commitFiles({{"a.txt", "two\n"}}, "Second", {first}, "main");
    if (odd == Odd::Bare)
        return repo;
    repo->git({"reset", "--hard", "main"});
    if (odd == Odd::Detached)
        repo->git({"checkout", "--detach", QString::fromStdString(first)});
    if (odd == Odd::OneRemote)
        repo->git({"remote", "add", "origin", repo->outside()});
    if (odd == Odd::Unrelated)
        repo->commitFiles({{"b.txt", "else\n"}}, "Another root", {}, "topic/other");
    if (odd == Odd::Rebase) {
        repo->commitFiles({{"a.txt", "three\n"}}, "Third", {first}, "topic/x");
        repo->git({"checkout", "topic/x"});
        // Stops at the conflict, which is what is wanted.
        repo->tryGit({"-c", "user.name=M", "-c", "user.email=m@sol.example", "rebase", "main"});
    }
    return repo;
}

} // namespace

void TestMainWindow::opens_data()
{
    QTest::addColumn<int>("odd");
    QTest::addColumn<int>("rows");
    QTest::addColumn<QString>("line"); // a part of what the notice bar says; empty: nothing is said
    QTest::addColumn<QString>("upstreamAction");
    QTest::newRow("no remotes") << int(Odd::Plain) << 2 << QString() << QStringLiteral("Add upstream…");
    QTest::newRow("detached") << int(Odd::Detached) << 2 << QString() << QStringLiteral("Add upstream…");
    QTest::newRow("unborn") << int(Odd::Unborn) << 0 << QString() << QStringLiteral("Add upstream…");
    QTest::newRow("bare") << int(Odd::Bare) << 2 << QString() << QString();
    QTest::newRow("one remote") << int(Odd::OneRemote) << 2 << QStringLiteral("remote") << QStringLiteral("Fetch");
    QTest::newRow("unrelated") << int(Odd::Unrelated) << 3 << QString() << QStringLiteral("Add upstream…");
    QTest::newRow("rebase") << int(Odd::Rebase) << 3 << QStringLiteral("rebase in progress")
                            << QStringLiteral("Add upstream…");
}

void TestMainWindow::opens()
{
    QFETCH(int, odd);
    QFETCH(int, rows);
    QFETCH(QString, line);
    QFETCH(QString, upstreamAction);
    const auto repo = make(Odd(odd));
    MainWindow window;
    window.show();
    QSignalSpy drift(window.session(), &Session::driftChanged);
    QSignalSpy failed(window.session(), &Session::failed);
    window.openRepository(repo->path());
    QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), 30000);
    QCOMPARE(window.currentPage(), window.workbench());
    QCOMPARE(int(window.session()->snapshot()->history.size()), rows);
    QVERIFY2(failed.isEmpty(), qPrintable(failed.isEmpty() ? QString() : failed[0][0].toString()));
    QVERIFY2(window.notice()->line().contains(line) && window.notice()->line().isEmpty() == line.isEmpty(),
             qPrintable(window.notice()->line()));
    QCOMPARE(window.places()->action(Place::Upstream), upstreamAction);
}

void TestMainWindow::refuses_data()
{
    QTest::addColumn<QString>("kind");
    QTest::newRow("SHA-256") << QStringLiteral("sha256");
    QTest::newRow("not a repository") << QStringLiteral("folder");
    QTest::newRow("nothing there") << QStringLiteral("nothing");
}

void TestMainWindow::refuses()
{
    QFETCH(QString, kind);
    QTemporaryDir folder;
    std::unique_ptr<TempRepository> repo;
    QString path = folder.path();
    if (kind == QStringLiteral("sha256")) {
        repo = std::make_unique<TempRepository>(TempRepository::Worktree,
                                                QStringList{QStringLiteral("--object-format=sha256")});
        path = repo->path();
    } else if (kind == QStringLiteral("nothing")) {
        path += QStringLiteral("/nothing");
    }
    MainWindow window;
    window.show();
    QSignalSpy refused(window.session(), &Session::openFailed);
    window.openRepository(path);
    QTRY_COMPARE_WITH_TIMEOUT(refused.count(), 1, 30000);
    QCOMPARE(window.currentPage(), window.startPage());
    const QString line = window.notice()->line();
    QVERIFY(!line.isEmpty() && !line.contains(QLatin1Char('\n')));
    QVERIFY2(line.contains(QFileInfo(path).fileName()), qPrintable(line));
    QVERIFY(!window.session()->isOpen());
}

void TestMainWindow::missingObject_data()
{
    QTest::addColumn<QString>("what");
    QTest::addColumn<bool>("opens");
    QTest::newRow("commit below the topic") << QStringLiteral("topic/x~1") << false;
    QTest::newRow("tip of the topic") << QStringLiteral("topic/x") << true;
    QTest::newRow("tree of the topic") << QStringLiteral("topic/x^{tree}") << true;
    QTest::newRow("folder of the topic") << QStringLiteral("topic/x:src") << true;
    QTest::newRow("file of the topic") << QStringLiteral("topic/x:src/a.txt") << true;
    QTest::newRow("file of the main line") << QStringLiteral("main:src/a.txt") << true;
}

// An object that is gone: the window opens on what is left or is refused, and whatever needs the object says which it is.
void TestMainWindow::missingObject()
{
    QFETCH(QString, what);
    QFETCH(bool, opens);
    TempRepository repo;
    const std::string root = repo.commitFiles({{"src/a.txt", "one\ntwo\n"}}, "First", {}, "main");
    repo.commitFiles({{"src/a.txt", "new\none\ntwo\n"}}, "Second", {root}, "main");
    const std::string below = repo.commitFiles({{"b.txt", "b\n"}}, "Below", {root}, "topic/x");
    repo.commitFiles({{"src/a.txt", "one\ntwo\nthree\n"}}, "Tip", {below}, "topic/x");
    repo.git({"config", "user.name", "Mira Holm"});
    repo.git({"config", "user.email", "mira@example.org"});
    repo.git({"reset", "--hard", "main"});
    const QString id = QString::fromStdString(repo.git({"rev-parse", what}));
    QVERIFY(QFile::remove(repo.path() + QStringLiteral("/.git/objects/") + id.left(2) + QLatin1Char('/') + id.mid(2)));
    const auto before = folderState(repo.fsPath());
    MainWindow window;
    window.show();
    QSignalSpy drift(window.session(), &Session::driftChanged), refused(window.session(), &Session::openFailed);
    QSignalSpy unread(window.commitPanel(), &CommitPanel::failed);
    window.openRepository(repo.path());
    QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty() || !refused.isEmpty(), 30000);
    const auto isClear = [&](const QString& line) {
        QVERIFY2(line.contains(id.left(7)) && !line.contains(QLatin1Char('\n')), qPrintable(line));
    };
    QCOMPARE(refused.isEmpty(), opens);
    if (!opens) {
        QCOMPARE(window.currentPage(), window.startPage());
        isClear(window.notice()->line());
        return;
    }
    const Ref* topic = window.session()->snapshot()->findRef("refs/heads/topic/x");
    const Ref* main = window.session()->snapshot()->findRef("refs/heads/main");
    if (what == QStringLiteral("topic/x")) {
        // The rest is there, and the window says which ref is not.
        QCOMPARE(int(window.session()->snapshot()->history.size()), 2);
        const QString line = window.notice()->line();
        QVERIFY2(line.contains(QStringLiteral("refs/heads/topic/x")), qPrintable(line));
        return;
    }
    QVERIFY(topic && main);
    QSignalSpy planless(window.session(), &Session::failed), runless(window.flow(), &ReplayFlow::failed);
    window.startReplay({topic->name, {}, topic->tip, true, QStringLiteral("topic/x")},
                       {main->tip, main->name, QStringLiteral("main")});
    QTRY_VERIFY_WITH_TIMEOUT(!planless.isEmpty() || !runless.isEmpty(), 30000);
    isClear((planless.isEmpty() ? runless : planless)[0][0].toString());
    // The panel on a commit that needs it; HEAD's is shown from the start.
    window.commitPanel()->showRow(what.startsWith(QStringLiteral("main")) ? main->row : topic->row);
    QTRY_VERIFY_WITH_TIMEOUT(!unread.isEmpty(), 30000);
    isClear(unread[0][0].toString());
    QCOMPARE(folderState(repo.fsPath()), before);
}

void TestMainWindow::wholeJob()
{
    QTemporaryDir folder;
    const auto sample = buildSample("same-lines", (folder.path() + QStringLiteral("/s")).toStdString());
    QVERIFY(sample.has_value());
    MainWindow window;
    window.show();
    MouseJob job(window, QString::fromStdString(sample->clone.string()));
    checkJob(job, window, *sample);
}

void TestMainWindow::cleansUp()
{
    QTemporaryDir folder;
    const auto sample = buildSample("already-landed", (folder.path() + QStringLiteral("/s")).toStdString());
    QVERIFY(sample.has_value());
    MainWindow window;
    window.show();
    QSignalSpy drift(window.session(), &Session::driftChanged);
    window.openRepository(QString::fromStdString(sample->clone.string()));
    QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), 30000);
    QSignalSpy loaded(window.cleanUpPage(), &CleanUpPage::loaded);
    window.showCleanUp();
    QTRY_VERIFY_WITH_TIMEOUT(!loaded.isEmpty(), 30000);
    QTreeWidget* list = window.cleanUpPage()->list();
    QVERIFY(list->topLevelItemCount() > 0);
    QCOMPARE(list->topLevelItemCount(), int(window.cleanUpPage()->candidates().size()));
    for (const CleanUpCandidate& candidate : window.cleanUpPage()->candidates())
        QVERIFY(candidate.landed.wholly());
    // All at once: one deletion after another, each in the logbook, in the clone and on the fork.
    std::vector<CleanUpCandidate> chosen = window.cleanUpPage()->candidates();
    std::erase_if(chosen, &CleanUpCandidate::checkedOut);
    QVERIFY(chosen.size() >= 2);
    QSignalSpy said(window.session(), &Session::said), failed(window.session(), &Session::failed);
    QVERIFY(clickButton(window.cleanUpPage(), QStringLiteral("Delete what is ticked")));
    QTRY_VERIFY_WITH_TIMEOUT(said.size() >= qsizetype(chosen.size()) || !failed.isEmpty(), 30000);
    QVERIFY2(failed.isEmpty(), qPrintable(failed.isEmpty() ? QString() : failed[0][0].toString()));
    std::size_t deletions = 0;
    for (const CleanUpCandidate& candidate : chosen) {
        QVERIFY(!Repository::open(sample->clone).value().resolve("refs/heads/" + candidate.branch));
        QVERIFY(!Repository::open(sample->fork).value().resolve("refs/heads/" + candidate.branch));
        deletions += candidate.forkTip ? 2 : 1;
    }
    QCOMPARE(readLogbook(Repository::open(sample->clone).value()).value().size(), deletions);
    QCOMPARE(fsckProblem(*sample), QString());
}

// A work goes with the page that it is for, when the line that showed it is gone already.
void TestMainWindow::closesDuringWork()
{
    auto window = std::make_unique<MainWindow>();
    window->show();
    startWork<int>(
        window->findChild<GraphView*>(), QStringLiteral("Counting the tides"),
        [](const Progress& progress) -> Result<int> {
            while (!progress.stopped())
                QThread::msleep(1);
            return cancelled();
        },
        [](const Result<int>&) {});
    const auto isShown = [&] {
        const auto labels = window->findChildren<QLabel*>();
        return std::ranges::any_of(labels, [](const QLabel* label) { return label->text().contains("the tides"); });
    };
    QTRY_VERIFY(isShown());
    window.reset();
    QVERIFY(workPool(WorkPriority::Shown)->waitForDone());
}

void TestMainWindow::menusHaveMnemonics()
{
    MainWindow window;
    for (const QAction* menu : window.menuBar()->actions()) {
        QVERIFY2(menu->text().contains(QLatin1Char('&')), qPrintable(menu->text()));
        QSet<QChar> taken;
        for (const QAction* action : menu->menu()->actions()) {
            if (action->isSeparator())
                continue;
            const qsizetype at = action->text().indexOf(QLatin1Char('&'));
            QVERIFY2(at >= 0, qPrintable(action->text()));
            const QChar letter = action->text().at(at + 1).toLower();
            QVERIFY2(!taken.contains(letter), qPrintable(menu->text() + QLatin1Char('/') + action->text()));
            taken.insert(letter);
        }
    }
}

void TestMainWindow::branchNames_data()
{
    QTest::addColumn<QString>("name");
    for (const char* name : {"topic/x", "a", "a.b", "-x", "a..b", "a b", "a~1", "x.lock", "x/.y", "x/", "/x", "x//y",
                             "a@{b", "x.", "x\\y", "x*", "a@b", "über", "x.lock/y"})
        QTest::newRow(name) << QString::fromUtf8(name);
}

// The reference: git-check-ref-format(1), --branch.
void TestMainWindow::branchNames()
{
    QFETCH(QString, name);
    const TempRepository repo;
    const bool accepted = repo.tryGit({"check-ref-format", "--branch", name}).exitCode == 0;
    QCOMPARE(isBranchName(name.toStdString()), accepted);
}

QTEST_MAIN(TestMainWindow)
#include "test_main_window.moc"

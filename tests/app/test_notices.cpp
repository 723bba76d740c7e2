// SPDX-License-Identifier: MIT
// Every failure of a replay is said once, in the page where the user acts.
#include "app/dryrun/dry_run_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "app/window/main_window.h"
#include "tests/support/replay_window.h"

#include <QPushButton>
#include <QtTest>

using namespace espalier;
using test::TempRepository;

namespace {
constexpr int patience = 20000;
}

class TestNotices : public QObject {
    Q_OBJECT

    std::unique_ptr<TempRepository> m_repo;
    std::unique_ptr<MainWindow> m_window;

    // topic/x is checked out and changes `file`, which main changes too when it is to conflict.
    void open(bool conflict)
    {
        m_repo = std::make_unique<TempRepository>();
        test::setUpTopic(*m_repo, {{"file", "one\n"}}, {{"file", "mine\n"}},
                         {{conflict ? "file" : "other", "upstream\n"}});
        m_window = test::openReplay(*m_repo, "topic/x", "main");
        QVERIFY(m_window);
    }
    // Decisions cannot be kept any more: a file stands where their folder goes.
    void blockKeeping() const
    {
        QDir(m_repo->path() + QStringLiteral("/.git/espalier")).removeRecursively();
        m_repo->writeFile(".git/espalier", "in the way\n");
    }
    // What is to be read in all notices of the window.
    QStringList said() const
    {
        QStringList lines;
        for (const NoticeBar* notice : m_window->findChildren<NoticeBar*>())
            if (notice->isVisible())
                lines << notice->line();
        return lines;
    }
    static const NoticeBar* noticeOf(const QWidget* page) { return page->findChild<NoticeBar*>(); }
    void settleOne()
    {
        auto* choice = m_window->settlePage()->findChild<QPushButton*>(QStringLiteral("new-base"));
        QTRY_VERIFY_WITH_TIMEOUT(choice->isEnabled(), patience);
        QSignalSpy failed(m_window->flow(), &ReplayFlow::failed);
        QTest::mouseClick(choice, Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(!failed.isEmpty(), patience);
    }

  private Q_SLOTS:
    void cleanup()
    {
        m_window.reset();
        m_repo.reset();
    }

    void inTheDryRun()
    {
        open(false);
        m_repo->writeFile("other", "mine, in the way\n");
        QSignalSpy failed(m_window->flow(), &ReplayFlow::failed);
        QTest::mouseClick(m_window->dryRunPage()->findChild<QPushButton*>(QStringLiteral("apply")), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(failed.size(), 1, patience);
        QCOMPARE(said(), QStringList(failed[0][0].toString()));
        QCOMPARE(noticeOf(m_window->dryRunPage())->line(), failed[0][0].toString());
    }

    void inTheSettlePage()
    {
        open(true);
        blockKeeping();
        Q_EMIT m_window->dryRunPage()->settleRequested();
        QVERIFY(m_window->settlePage()->isVisible());
        settleOne();
        QCOMPARE(said().size(), 1);
        QVERIFY2(said().front().contains(QStringLiteral("cannot be kept")), qPrintable(said().front()));
        // Back in the dry run it is not said a second time.
        m_window->showWorkbench();
        QVERIFY(m_window->dryRunPage()->isVisible());
        QCOMPARE(said(), QStringList());
    }

    // A change was interrupted, and something is in the way of finishing it: what, and why, is read when the repository is
    // opened. When the way is free the next opening finishes it, and says so.
    void whatIsHalfDoneOnOpening()
    {
        m_repo = std::make_unique<TempRepository>();
        const auto base = m_repo->commitFiles({{"file", "one\n"}}, "Base", {}, "main");
        const auto next = m_repo->commitFiles({{"file", "two\n"}}, "Next", {base});
        m_repo->git({"reset", "--hard", "--quiet"});
        m_repo->git({"update-ref", "refs/heads/one", QString::fromStdString(base)});
        m_repo->git({"update-ref", "refs/heads/two", QString::fromStdString(base)});
        LogbookEntry entry;
        entry.title = "Replay one onto main";
        const Oid from = Oid::parse(base).value(), to = Oid::parse(next).value();
        entry.moves = {{"refs/heads/one", from, to}, {"refs/heads/two", from, to}};
        QVERIFY(beginEntry(m_repo->open(), entry));
        m_repo->git({"update-ref", "refs/heads/one", QString::fromStdString(next)});
        const QString lock = m_repo->path() + QStringLiteral("/.git/refs/heads/two.lock");
        m_repo->writeFile(".git/refs/heads/two.lock", "");
        for (const bool isFree : {false, true}) {
            if (isFree)
                QVERIFY(QFile::remove(lock));
            m_window = std::make_unique<MainWindow>();
            m_window->show();
            m_window->openRepository(m_repo->path());
            QTRY_VERIFY_WITH_TIMEOUT(m_window->session()->isOpen(), patience);
            QTRY_COMPARE_WITH_TIMEOUT(said().size(), 1, patience);
            const QString line = said().front();
            QCOMPARE(line.startsWith(QStringLiteral("Half done: Replay one onto main (entry ")), !isFree);
            if (isFree)
                QCOMPARE(line, QStringLiteral("Completed after an interruption: Replay one onto main."));
            else
                QVERIFY2(line.contains(QStringLiteral("It cannot be finished now: ")) &&
                             line.contains(QStringLiteral("two")),
                         qPrintable(line));
        }
        QCOMPARE(m_repo->git({"rev-parse", "two"}), next);
    }

    void whereNoSuchPageIsSeen()
    {
        open(true);
        blockKeeping();
        m_window->showLogbook();
        const DryRunPtr run = m_window->flow()->run();
        const ReplayedCommit& commit = run->commits.front();
        const Conflict& conflict = commit.conflicts.front();
        const FileSettlement settlement{{conflict.path.ancestor.id, conflict.path.newBase.id, conflict.path.commit.id},
                                        {SettledHunk{{}, {Choice::NewBase, {}}}}};
        QSignalSpy failed(m_window->flow(), &ReplayFlow::failed);
        m_window->flow()->settle(conflict.key(commit.id), settlement);
        QTRY_VERIFY_WITH_TIMEOUT(!failed.isEmpty(), patience);
        QVERIFY(m_window->notice()->isVisible());
        QCOMPARE(m_window->notice()->line(), failed[0][0].toString());
    }
};

QTEST_MAIN(TestNotices)
#include "test_notices.moc"

// SPDX-License-Identifier: MIT
// Conflicts inside merge commits that a replay keeps, the whole way: kept in the dry run page, settled in the settle page by
// button and key, applied; what was written is as git reads it.
#include "app/dryrun/dry_run_page.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QComboBox>
#include <QPushButton>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";

std::string text(const char* top, const char* bottom)
{
    std::string all = std::string(top) + "\n";
    for (int i = 0; i < 20; ++i)
        all += "line " + std::to_string(i) + "\n";
    return all + bottom + "\n";
}

} // namespace

class TestSettleMerges : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<DryRunPage> m_dryRun;
    std::unique_ptr<SettlePage> m_page;
    std::string m_first; // before upstream's last commit that the topic stands on

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    HunkList* list() const { return m_page->findChild<HunkList*>(); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    std::string git(const QStringList& arguments) const { return m_repo->git(arguments); }
    std::string settledSubject() const { return editor()->model().text().yourSubject; }

    // first <- second <- upstream is main; a side branch began at first, the topic at second, and the topic has merged the
    // side branch. What the side has and what upstream changes since meets in the merge commit only.
    void start(const test::Files& side, const test::Files& mine, const test::Files& merged, const test::Files& upstream)
    {
        m_repo = std::make_unique<test::TempRepository>();
        m_first =
            m_repo->commitFiles({{"notes", text("top", "bottom")}, {"more", text("a", "z")}}, "First", {}, "main");
        const auto second = m_repo->commitFiles({{"second", "2\n"}}, "Second", {m_first}, "main");
        const auto sideTip = m_repo->commitFiles(side, "Side", {m_first}, "side");
        const auto mineTip = m_repo->commitFiles(mine, "Mine", {second});
        const auto merge = m_repo->commitFiles(merged, "Merge side", {mineTip, sideTip});
        m_repo->commitFiles({{"top", "top\n"}}, "On top", {merge}, "topic/x");
        m_repo->commitFiles(upstream, "Upstream", {second}, "main");
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_dryRun = std::make_unique<DryRunPage>(m_open.session.get(), m_open.flow.get());
        m_dryRun->resize(1000, 500);
        m_dryRun->show();
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        m_page->resize(1300, 800);
        m_open.flow->start(*m_open.plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->run() && !m_open.flow->isBusy(), patience);
        auto* merges = m_dryRun->findChild<QComboBox*>(QStringLiteral("merges"));
        merges->setFocus();
        QTest::keyClick(merges, Qt::Key_Down);
        QTRY_COMPARE_WITH_TIMEOUT(m_open.flow->plan().merges, MergeCommits::Keep, patience);
        caughtUp();
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        m_page->begin();
        if (!m_open.flow->run()->clean)
            QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
    }
    // Presses each in turn, each followed by *next undecided*; the last one leads back to the dry run.
    void settle(const QStringList& choices)
    {
        QSignalSpy done(m_page.get(), &SettlePage::allSettled);
        for (const QString& choice : choices) {
            QTRY_VERIFY_WITH_TIMEOUT(undecidedShown(), patience);
            QTest::mouseClick(m_page->findChild<QPushButton*>(choice), Qt::LeftButton);
            caughtUp();
            QTest::keyClick(m_page.get(), Qt::Key_F8);
        }
        QTRY_VERIFY_WITH_TIMEOUT(!done.isEmpty(), patience);
    }
    bool undecidedShown() const
    {
        const QTreeWidgetItem* item = list()->currentItem();
        return !m_open.flow->isBusy() && item && item->text(1).startsWith(QStringLiteral("○"));
    }
    void apply()
    {
        test::applyAnnounced(*m_repo, *m_open.flow, topic);
        QVERIFY(git({QStringLiteral("fsck"), QStringLiteral("--strict"), QStringLiteral("--no-dangling")}).empty());
        // The merge is one still: of the new mine and the side as it was.
        QCOMPARE(git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--format=%s"),
                      QStringLiteral("topic/x~1")}),
                 std::string("Merge side"));
        QCOMPARE(git({QStringLiteral("rev-parse"), QStringLiteral("topic/x~2~1")}),
                 git({QStringLiteral("rev-parse"), QStringLiteral("main")}));
        QCOMPARE(git({QStringLiteral("rev-parse"), QStringLiteral("topic/x~1^2")}),
                 git({QStringLiteral("rev-parse"), QStringLiteral("side")}));
    }
    std::string file(const char* path) const
    {
        const auto run = m_repo->tryGit({QStringLiteral("show"), QStringLiteral("topic/x:") + QLatin1String(path)});
        return run.exitCode == 0 ? run.out.toStdString() : std::string("nothing");
    }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_dryRun.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void sidesThatMeetAnew_data()
    {
        QTest::addColumn<QString>("choice");
        QTest::addColumn<std::string>("top");
        QTest::newRow("new base") << QStringLiteral("new-base") << std::string("UP");
        QTest::newRow("your commit") << QStringLiteral("your-commit") << std::string("side");
        QTest::newRow("both") << QStringLiteral("your-commit-first") << std::string("side\nUP");
    }
    void sidesThatMeetAnew()
    {
        QFETCH(QString, choice);
        QFETCH(std::string, top);
        start({{"notes", text("side", "bottom")}}, {{"mine", "mine\n"}}, {{"notes", text("side", "bottom")}},
              {{"notes", text("UP", "bottom")}});
        QCOMPARE(m_open.flow->run()->undecided(), std::size_t(1));
        QCOMPARE(settledSubject(), std::string("Merge side"));
        QCOMPARE(editor()->model().newBaseLines().front(), QStringLiteral("UP"));
        QCOMPARE(editor()->model().commitLines().front(), QStringLiteral("side"));
        settle({choice});
        apply();
        QCOMPARE(file("notes"), text(top.c_str(), "bottom"));
        QCOMPARE(file("mine"), std::string("mine\n"));
        QCOMPARE(file("top"), std::string("top\n"));
    }

    // The merge commit itself changed the lines in which its sides now meet: two questions, each asked once.
    void theMergesOwnChangeInTheSameLines()
    {
        start({{"notes", text("side", "bottom")}}, {{"mine", "mine\n"}},
              {{"notes", text("by hand", "bottom, by hand")}}, {{"notes", text("UP", "bottom")}});
        settle({QStringLiteral("new-base"), QStringLiteral("your-commit")});
        apply();
        QCOMPARE(file("notes"), text("by hand", "bottom, by hand"));
    }
    void theMergesOwnChangeGivenUp()
    {
        start({{"notes", text("side", "bottom")}}, {{"mine", "mine\n"}},
              {{"notes", text("by hand", "bottom, by hand")}}, {{"notes", text("UP", "bottom")}});
        settle({QStringLiteral("new-base-first"), QStringLiteral("new-base")});
        apply();
        QCOMPARE(file("notes"), text("UP\nside", "bottom, by hand"));
    }

    void anEarlierCommitAndTheMerge()
    {
        start({{"notes", text("side", "bottom")}}, {{"more", text("a", "mine")}}, {{"notes", text("side", "bottom")}},
              {{"notes", text("UP", "bottom")}, {"more", text("a", "UP")}});
        QCOMPARE(settledSubject(), std::string("Mine"));
        settle({QStringLiteral("new-base-first"), QStringLiteral("new-base")});
        apply();
        QCOMPARE(file("more"), text("a", "UP\nmine"));
        QCOMPARE(file("notes"), text("UP", "bottom"));
    }

    void aWholeFileInTheMerge_data()
    {
        QTest::addColumn<QString>("choice");
        QTest::addColumn<std::string>("left");
        QTest::newRow("deleted") << QStringLiteral("new-base") << std::string("nothing");
        QTest::newRow("kept") << QStringLiteral("your-commit") << text("side", "bottom");
    }
    void aWholeFileInTheMerge()
    {
        QFETCH(QString, choice);
        QFETCH(std::string, left);
        start({{"notes", text("side", "bottom")}}, {{"mine", "mine\n"}}, {{"notes", text("side", "bottom")}},
              {{"notes", {}}});
        QCOMPARE(button("new-base")->text(), QStringLiteral("Leave it deleted"));
        settle({choice});
        apply();
        QCOMPARE(file("notes"), left);
    }

    // What was settled in the merge once is not asked again when the new base meets none of it.
    void whatWasSettledOnceStays()
    {
        start({{"notes", text("side", "bottom")}}, {{"notes", text("mine", "bottom")}},
              {{"notes", text("mine and side", "bottom")}}, {{"more", text("UP", "z")}, {"notes", text("top", "UP")}});
        QVERIFY(m_open.flow->run()->clean);
        apply();
        QCOMPARE(file("notes"), text("mine and side", "UP"));
    }
};

QTEST_MAIN(TestSettleMerges)
#include "test_settle_merges.moc"

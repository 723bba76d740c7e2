// SPDX-License-Identifier: MIT
// Text that is typed outside the hunks, in the real window: it hides no undecided hunk, goes along when an earlier
// decision changes, and is on the disk however soon the window goes.
#include "app/dryrun/dry_run_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/page.h"
#include "app/support/text.h"
#include "app/window/main_window.h"
#include "tests/support/replay_window.h"

#include <QPushButton>
#include <QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

constexpr int patience = 20000;
using Pane = ConflictEditor::Pane;

std::string numbered(int from, int to, const std::map<int, std::string>& changed = {})
{
    std::string text;
    for (int i = from; i <= to; ++i)
        text += (changed.contains(i) ? changed.at(i) : std::to_string(i)) + "\n";
    return text;
}

} // namespace

class TestSettleEdits : public QObject {
    Q_OBJECT

    std::unique_ptr<TempRepository> m_repo;
    std::unique_ptr<MainWindow> m_window;

    ReplayFlow* flow() const { return m_window->flow(); }
    SettlePage* page() const { return m_window->settlePage(); }
    ConflictEditor* editor() const { return page()->findChild<ConflictEditor*>(); }
    TextPane* middle() const { return editor()->pane(Pane::Settled); }
    QPushButton* button(const char* name) const { return page()->findChild<QPushButton*>(QLatin1String(name)); }
    void caughtUp() const { QTRY_VERIFY_WITH_TIMEOUT(flow()->run() && !flow()->isBusy(), patience); }
    // What the run puts in `f` of a commit's tree.
    std::string fileOf(std::size_t commit) const
    {
        const DryRunPtr run = flow()->run();
        const auto repository = Repository::open(m_repo->fsPath());
        if (!run->commits[commit].newTree || !writeObjects(*repository, *run->objects))
            return "nothing";
        const std::string at = run->commits[commit].newTree->hex() + ":f";
        return m_repo->tryGit({"cat-file", "blob", QString::fromStdString(at)}).out.toStdString();
    }
    QStringList words() const
    {
        QStringList all;
        for (const PlainLabel* label : page()->findChildren<PlainLabel*>())
            all << label->text();
        return all;
    }
    bool says(const QString& part) const
    {
        return std::ranges::any_of(words(), [&](const QString& line) { return line.contains(part); });
    }
    QString decisionOf(int hunk) const
    {
        const auto* list = page()->findChild<HunkList*>();
        return list->fileItem(0)->child(hunk)->text(1);
    }

    // Two commits that each conflict in the same file, far apart, with lines between and behind that nobody touches.
    void build()
    {
        m_repo = std::make_unique<TempRepository>();
        m_repo->git({"config", "user.name", "Mira Sol"});
        m_repo->git({"config", "user.email", "mira@example.org"});
        const auto base = m_repo->commitFiles({{"f", numbered(1, 60)}}, "Base", {}, "main");
        const auto one = m_repo->commitFiles({{"f", numbered(1, 60, {{5, "Y"}})}}, "One", {base}, "topic/x");
        m_repo->commitFiles({{"f", numbered(1, 60, {{5, "Y"}, {30, "Z"}})}}, "Two", {one}, "topic/x");
        m_repo->commitFiles({{"f", numbered(1, 60, {{5, "N"}, {30, "M"}})}}, "Upstream", {base}, "main");
    }
    void openWindow()
    {
        m_window = test::openReplay(*m_repo, "topic/x", "main");
        QVERIFY(m_window);
        Q_EMIT m_window->dryRunPage()->settleRequested();
        QTRY_VERIFY_WITH_TIMEOUT(editor()->currentHunk() >= 0, patience);
    }
    void typeAtTheEnd(const QString& text) const
    {
        middle()->setFocus();
        middle()->moveCursor(QTextCursor::End);
        QTest::keyClicks(middle(), text);
    }

  private Q_SLOTS:
    void init() { build(); }
    void cleanup()
    {
        m_window.reset();
        m_repo.reset();
    }

    void typingElsewhereDecidesNothing()
    {
        openWindow();
        QCOMPARE(flow()->run()->undecided(), std::size_t(2));
        typeAtTheEnd(QStringLiteral("!"));
        editor()->flush();
        caughtUp();
        QVERIFY2(says(QStringLiteral("1 of 1 hunk undecided")), qPrintable(words().join(u'\n')));
        QVERIFY2(decisionOf(0).contains(QStringLiteral("undecided")), qPrintable(decisionOf(0)));
        QCOMPARE(flow()->run()->commits[0].conflicts[0].undecided, std::size_t(1));
        QCOMPARE(flow()->run()->undecided(), std::size_t(2));
        QVERIFY(!flow()->run()->clean);
        QVERIFY(!m_window->dryRunPage()->findChild<QPushButton*>(QStringLiteral("apply"))->isEnabled());
        // Decided, the hunk has its own text and the typed character is there too.
        QTest::mouseClick(button("your-commit"), Qt::LeftButton);
        caughtUp();
        QCOMPARE(fileOf(0), numbered(1, 60, {{5, "Y"}, {30, "M"}, {60, "60!"}}));
    }

    void anEditGoesAlongWhenAnEarlierDecisionChanges()
    {
        openWindow();
        QTest::mouseClick(button("new-base"), Qt::LeftButton);
        caughtUp();
        QTest::mouseClick(button("nextUndecided"), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(says(QStringLiteral("Commit 2 of 2")), patience);
        QTest::mouseClick(button("your-commit"), Qt::LeftButton);
        typeAtTheEnd(QStringLiteral("!"));
        editor()->flush();
        caughtUp();
        QVERIFY(flow()->run()->clean);
        QCOMPARE(fileOf(1), numbered(1, 60, {{5, "N"}, {30, "Z"}, {60, "60!"}}));
        // Back to the first commit, and the other way round.
        const ReplayedCommit& first = flow()->run()->commits[0];
        const SettlementKey key = first.conflicts[0].key(first.id);
        auto decided = *flow()->settlements().find(key);
        QVERIFY(decideAll(decided, Choice::YourCommit));
        flow()->settle(key, decided);
        caughtUp();
        QVERIFY(flow()->run()->clean);
        QCOMPARE(fileOf(1), numbered(1, 60, {{5, "Y"}, {30, "Z"}, {60, "60!"}}));
    }

    // The same lines are typed over and then changed below: the edit is asked about, and answered here.
    void anEditThatFitsNoLongerIsAskedAbout_data()
    {
        QTest::addColumn<QString>("answer");
        QTest::addColumn<QByteArray>("line");
        QTest::newRow("put back") << QStringLiteral("&Put it back") << QByteArray("five");
        QTest::newRow("left out") << QStringLiteral("&Leave it out") << QByteArray("Y");
    }
    void anEditThatFitsNoLongerIsAskedAbout()
    {
        QFETCH(QString, answer);
        QFETCH(QByteArray, line);
        openWindow();
        QTest::mouseClick(button("new-base"), Qt::LeftButton);
        caughtUp();
        QTest::mouseClick(button("nextUndecided"), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(says(QStringLiteral("Commit 2 of 2")), patience);
        QTest::mouseClick(button("your-commit"), Qt::LeftButton);
        // Line 5, which the first commit's hunk gave.
        QTextCursor cursor = middle()->document()->find(QStringLiteral("N"));
        QVERIFY(!cursor.isNull());
        middle()->setTextCursor(cursor);
        QTest::keyClicks(middle(), QStringLiteral("five"));
        editor()->flush();
        caughtUp();
        QVERIFY(flow()->run()->clean);
        const ReplayedCommit& first = flow()->run()->commits[0];
        const SettlementKey key = first.conflicts[0].key(first.id);
        auto decided = *flow()->settlements().find(key);
        QVERIFY(decideAll(decided, Choice::YourCommit));
        flow()->settle(key, decided);
        caughtUp();
        QVERIFY(!flow()->run()->clean);
        QCOMPARE(flow()->run()->commits[1].conflicts[0].undecided, std::size_t(1));
        QCOMPARE(flow()->run()->commits[1].conflicts[0].again, std::size_t(1));
        QTRY_VERIFY_WITH_TIMEOUT(says(QStringLiteral("1 of 2 hunks undecided")), patience);
        QTest::mouseClick(button("nextUndecided"), Qt::LeftButton);
        QPushButton* pressed = nullptr;
        QTRY_VERIFY_WITH_TIMEOUT((pressed = buttonSaying(answer)), patience);
        QVERIFY2(page()->findChild<NoticeBar*>()->line().contains(QStringLiteral("five")),
                 qPrintable(page()->findChild<NoticeBar*>()->line()));
        QTest::mouseClick(pressed, Qt::LeftButton);
        caughtUp();
        QVERIFY(flow()->run()->clean);
        QVERIFY(says(QStringLiteral("0 of 1 hunk undecided")));
        QCOMPARE(fileOf(1), numbered(1, 60, {{5, line.toStdString()}, {30, "Z"}}));
    }

    void typedInTheLastMoment_data()
    {
        QTest::addColumn<int>("way");
        QTest::newRow("the window is closed") << 0;
        QTest::newRow("another repository is opened") << 1;
        QTest::newRow("the page is left") << 2;
        QTest::newRow("the replay is closed") << 3;
    }
    void typedInTheLastMoment()
    {
        QFETCH(int, way);
        openWindow();
        typeAtTheEnd(QStringLiteral("kept"));
        TempRepository other;
        other.commitFiles({{"g", "1\n"}}, "Other", {}, "main");
        switch (way) {
        case 0:
            m_window->close();
            break;
        case 1:
            m_window->openRepository(other.path());
            break;
        case 2:
            m_window->showLogbook();
            break;
        default:
            flow()->close();
        }
        m_window.reset();
        openWindow();
        QVERIFY(middle()->toPlainText().contains(QStringLiteral("60kept")));
        QVERIFY(says(QStringLiteral("1 of 1 hunk undecided")));
    }

  private:
    QPushButton* buttonSaying(const QString& words) const
    {
        for (QPushButton* one : page()->findChildren<QPushButton*>())
            if (one->isVisible() && one->text() == words)
                return one;
        return nullptr;
    }
    static bool decideAll(FileSettlement& settlement, Choice choice)
    {
        for (std::size_t i = 0; i < settlement.hunkCount(); ++i)
            settlement.decide(i, {choice, {}});
        return settlement.hunkCount() > 0;
    }
};

QTEST_MAIN(TestSettleEdits)
#include "test_settle_edits.moc"

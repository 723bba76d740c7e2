// SPDX-License-Identifier: MIT
// A hunk split at the line of the cursor, in any pane, decided part by part, joined again; by keys, as the user does it.
#include "app/settle/conflict_editor.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "core/settle/memory_store.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QPushButton>
#include <QTextBlock>
#include <QtTest>

#include <ctime>

using namespace espalier;

namespace {

constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";
using Pane = ConflictEditor::Pane;

std::string file(const std::string& middle, const std::string& last)
{
    return "top\n" + middle + "1\n2\n3\n4\n5\n" + last + "\nend\n";
}

} // namespace

class TestSettleSplit : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    TextPane* pane(Pane which) const { return editor()->pane(which); }
    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    int hunks() const { return editor()->model().hunkCount(); }
    const HunkDecision& decision(int hunk) const { return editor()->model().decision(hunk); }
    // The cursor of a pane that has the keyboard, on the n-th row of a hunk.
    void putCursor(Pane which, int hunk, int row)
    {
        editor()->setCurrentHunk(hunk);
        const int first = pane(Pane::Settled)->textCursor().blockNumber();
        pane(which)->setFocus();
        QTextCursor cursor(pane(which)->document()->findBlockByNumber(first + row));
        pane(which)->setTextCursor(cursor);
    }
    void press(Pane which, Qt::Key key, Qt::KeyboardModifiers modifiers = {})
    {
        QTest::keyClick(pane(which), key, modifiers);
    }
    QString heard() const
    {
        QStringList all;
        for (const NoticeBar* notice : m_page->findChildren<NoticeBar*>())
            if (notice->isVisible())
                all << notice->line();
        return all.join(QLatin1Char('|'));
    }
    void begin()
    {
        m_page.reset();
        m_open = {};
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        QVERIFY(test::beginSettling(*m_page, m_open));
        QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
    }
    void split(Pane which, int hunk, int row)
    {
        const int before = hunks();
        putCursor(which, hunk, row);
        press(which, Qt::Key_F12);
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), before + 1, patience);
        caughtUp();
        QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
        QCOMPARE(editor()->currentHunk(), hunk + 1);
        // The keyboard stays where it was, on the part's first line.
        QVERIFY(pane(which)->hasFocus());
        QCOMPARE(pane(which)->textCursor().blockNumber(), pane(Pane::Settled)->textCursor().blockNumber());
    }

  private Q_SLOTS:
    void init()
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base = m_repo->commitFiles({{"f", file("one\ntwo\nthree\nfour\n", "last")}}, "Base", {}, "main");
        m_repo->commitFiles({{"f", file("one c\nnew c\nthree c\nFOUR\n", "last mine")}}, "Mine", {base}, "topic/x");
        m_repo->commitFiles({{"f", file("ONE\nTWO\nthree b\nfour b\n", "last theirs")}}, "Upstream", {base}, "main");
        begin();
    }
    void cleanup()
    {
        m_page.reset();
        m_open = {};
        m_repo.reset();
    }

    // Split, decided part by part, applied: the tree has what was decided.
    void partsAreDecided()
    {
        QCOMPARE(hunks(), 2);
        split(Pane::Commit, 0, 2);
        QCOMPARE(hunks(), 3);
        QCOMPARE(editor()->model().text().hunks[0].commitText, "one c\nnew c\n");
        QCOMPARE(editor()->model().text().hunks[1].newBaseText, "three b\nfour b\n");
        QVERIFY(m_page->findChildren<PlainLabel*>().size() > 0);
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier); // the second part
        QCOMPARE(decision(1).choice, Choice::YourCommit);
        QCOMPARE(decision(0).choice, Choice::Undecided);
        editor()->setCurrentHunk(0);
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        editor()->setCurrentHunk(2);
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->run()->clean, patience);
        test::applyAnnounced(*m_repo, *m_open.flow, topic);
        QCOMPARE(m_repo->git({QStringLiteral("show"), QStringLiteral("topic/x:f")}) + "\n",
                 file("ONE\nTWO\nthree c\nFOUR\n", "last theirs"));
    }

    void fromAnyPane_data()
    {
        QTest::addColumn<int>("which");
        for (const auto& [name, which] : {std::pair("new base", Pane::NewBase), std::pair("settled", Pane::Settled),
                                          std::pair("commit", Pane::Commit)})
            QTest::newRow(name) << int(which);
    }
    void fromAnyPane()
    {
        QFETCH(int, which);
        split(Pane(which), 0, 3);
        QCOMPARE(editor()->model().text().hunks[1].newBaseText, "four b\n");
        QCOMPARE(editor()->model().text().hunks[1].commitText, "FOUR\n");
        QCOMPARE(editor()->model().text().hunks[1].ancestorText, "four\n");
    }

    // Where it cannot be split it is said why, and nothing happens.
    void notAtItsFirstLine()
    {
        putCursor(Pane::NewBase, 0, 0);
        press(Pane::NewBase, Qt::Key_F12);
        QVERIFY(heard().contains(QStringLiteral("below its first")));
        QTextCursor cursor(pane(Pane::NewBase)->document()->findBlockByNumber(6));
        pane(Pane::NewBase)->setTextCursor(cursor); // between the hunks
        press(Pane::NewBase, Qt::Key_F12);
        press(Pane::NewBase, Qt::Key_F12, Qt::ShiftModifier);
        QVERIFY(heard().contains(QStringLiteral("no parts")));
        QVERIFY(!m_open.flow->isBusy());
        QCOMPARE(hunks(), 2);
        QVERIFY(!m_open.flow->canUndo());
    }

    void joinedAgain()
    {
        split(Pane::NewBase, 0, 2);
        split(Pane::NewBase, 0, 1);
        QCOMPARE(hunks(), 4);
        for (const auto& [hunk, key] : {std::pair(0, Qt::Key_1), std::pair(1, Qt::Key_2), std::pair(2, Qt::Key_1)}) {
            editor()->setCurrentHunk(hunk);
            QTest::keyClick(m_page.get(), key, Qt::AltModifier);
        }
        caughtUp();
        editor()->setCurrentHunk(1);
        press(Pane::NewBase, Qt::Key_F12, Qt::ShiftModifier);
        QCOMPARE(heard(), QString());
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), 2, patience);
        QCOMPARE(editor()->currentHunk(), 0);
        QCOMPARE(decision(0), (HunkDecision{Choice::Typed, "ONE\nnew c\nthree b\nfour b\n"}));
        // And back, step by step.
        caughtUp();
        button("undo")->click();
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), 4, patience);
        QCOMPARE(decision(1).choice, Choice::YourCommit);
        for (int left = 3; left >= 0; --left) {
            caughtUp();
            QTRY_VERIFY_WITH_TIMEOUT(button("undo")->isEnabled(), patience);
            button("undo")->click();
        }
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), 3, patience);
        caughtUp();
        button("undo")->click();
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), 2, patience);
        caughtUp();
        QVERIFY(!m_open.flow->canUndo());
        button("redo")->click();
        QTRY_COMPARE_WITH_TIMEOUT(hunks(), 3, patience);
    }

    // The program ends and begins again.
    void isThereAgain()
    {
        split(Pane::Commit, 0, 2);
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        begin();
        QCOMPARE(hunks(), 3);
        QCOMPARE(decision(1).choice, Choice::YourCommit);
        QCOMPARE(decision(0).choice, Choice::Undecided);
    }

    // What its parts were decided as is remembered of the hunk as it is met, once all are.
    void rememberedAsOne()
    {
        split(Pane::Commit, 0, 2);
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        const auto remembered = [&] {
            const Repository opened = m_repo->open();
            return readMemory(opened, std::time(nullptr));
        };
        const Oid whole =
            textsOfHunk("one\ntwo\nthree\nfour\n", "ONE\nTWO\nthree b\nfour b\n", "one c\nnew c\nthree c\nFOUR\n");
        const auto found = [&] {
            return remembered().recall(
                {"one\ntwo\nthree\nfour\n", "ONE\nTWO\nthree b\nfour b\n", "one c\nnew c\nthree c\nFOUR\n"});
        };
        QVERIFY(!found());
        editor()->setCurrentHunk(0);
        QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
        caughtUp();
        QTRY_VERIFY_WITH_TIMEOUT(found().has_value(), patience);
        QCOMPARE(found()->decision, (HunkDecision{Choice::Typed, "ONE\nTWO\nthree c\nFOUR\n"}));
        QCOMPARE(found()->before.name, whole);
    }
};

QTEST_MAIN(TestSettleSplit)
#include "test_settle_split.moc"

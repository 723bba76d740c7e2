// SPDX-License-Identifier: MIT
// Work in the text of the settle page: finding and replacing, going to a line, indentation that goes on, brackets that belong
// together. By keys, as the user does it.
#include "app/settle/conflict_editor.h"
#include "app/settle/find_bar.h"
#include "app/settle/line_search.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "core/settle/indent_habit.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QAction>
#include <QCheckBox>
#include <QLineEdit>
#include <QPushButton>
#include <QScrollBar>
#include <QTextBlock>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;

std::string numbered(const std::string& third, const std::string& last)
{
    std::string text;
    for (int i = 1; i <= 60; ++i)
        text += (i == 3 ? third : i == 50 ? last : "    item " + std::to_string(i) + ";") + "\n";
    return text;
}

} // namespace

class TestSettleFind : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    FindBar* bar() const { return m_page->findChild<FindBar*>(); }
    TextPane* pane(ConflictEditor::Pane which) const { return editor()->pane(which); }
    TextPane* middle() const { return pane(ConflictEditor::Pane::Settled); }
    QLineEdit* field(const char* name) const { return m_page->findChild<QLineEdit*>(QLatin1String(name)); }
    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    void press(QKeySequence::StandardKey key)
    {
        const QKeyCombination keys = QKeySequence(key)[0];
        QTest::keyClick(QApplication::focusWidget(), keys.key(), keys.keyboardModifiers());
    }
    int lineOf(TextPane* in) const { return in->numberOfRow(in->textCursor().blockNumber()); }
    QStringList settled() const
    {
        QStringList lines;
        for (int i = 0; i < editor()->model().groupCount(); ++i)
            lines += editor()->model().settled(i);
        return lines;
    }
    QString heard() const
    {
        QStringList all;
        for (const PlainLabel* label : bar()->findChildren<PlainLabel*>())
            if (label->isVisible())
                all << label->fullText();
        return all.join(QLatin1Char('|'));
    }

  private Q_SLOTS:
    void init()
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base =
            m_repo->commitFiles({{"list.cpp", numbered("    three(a);", "    fifty;")}}, "Base", {}, "main");
        m_repo->commitFiles({{"list.cpp", numbered("    three(mine[1]);", "    fifty mine;")}}, "Mine", {base},
                            "topic/x");
        m_repo->commitFiles({{"list.cpp", numbered("    three(theirs);", "    fifty theirs;")}}, "Upstream", {base},
                            "main");
        test::openTopic(*m_repo, "refs/heads/topic/x", m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        QVERIFY(test::beginSettling(*m_page, m_open));
        QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
        middle()->setFocus();
    }
    void cleanup()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }

    void isFound()
    {
        press(QKeySequence::Find);
        QVERIFY(bar()->isVisible() && field("findWords")->hasFocus());
        QVERIFY(!field("replaceWith")->isVisible());
        QTest::keyClicks(field("findWords"), QStringLiteral("ITEM 2"));
        QCOMPARE(heard(), QStringLiteral("11 found in Settled text"));
        QTest::keyClick(field("findWords"), Qt::Key_Return);
        QCOMPARE(middle()->textCursor().selectedText(), QStringLiteral("item 2"));
        QCOMPARE(heard(), QStringLiteral("2 of 11 in Settled text")); // from the hunk on
        press(QKeySequence::FindNext);
        QCOMPARE(heard(), QStringLiteral("3 of 11 in Settled text"));
        QCOMPARE(lineOf(middle()), 20); // item 21; the hunk above it has no line yet
        for (int i = 0; i < 3; ++i)
            press(QKeySequence::FindPrevious);
        QCOMPARE(heard(), QStringLiteral("11 of 11 in Settled text")); // and round
        m_page->findChild<QCheckBox*>(QStringLiteral("wholeWords"))->click();
        QCOMPARE(heard(), QStringLiteral("1 found in Settled text"));
        m_page->findChild<QCheckBox*>(QStringLiteral("matchCase"))->click();
        QCOMPARE(heard(), QStringLiteral("Not found in Settled text"));
        QTest::keyClick(field("findWords"), Qt::Key_Escape);
        QVERIFY(!bar()->isVisible() && middle()->hasFocus());
        // In a side pane: what only that side has.
        pane(ConflictEditor::Pane::Commit)->setFocus();
        press(QKeySequence::Find);
        field("findWords")->setText(QStringLiteral("mine"));
        QVERIFY(heard().endsWith(QStringLiteral(" in Your commit brings")));
        m_page->findChild<QCheckBox*>(QStringLiteral("wholeWords"))->setChecked(false);
        m_page->findChild<QCheckBox*>(QStringLiteral("matchCase"))->setChecked(false);
        QTest::keyClick(field("findWords"), Qt::Key_Return);
        QTest::keyClick(field("findWords"), Qt::Key_Return);
        QCOMPARE(lineOf(pane(ConflictEditor::Pane::Commit)), 50);
        QCOMPARE(heard(), QStringLiteral("2 of 2 in Your commit brings"));
        QCOMPARE(editor()->pane(ConflictEditor::Pane::Commit)->verticalScrollBar()->value(),
                 middle()->verticalScrollBar()->value());
    }

    // What is far from the hunks is shown when it is gone to.
    void isFoundWhereItIsHidden()
    {
        editor()->setOnlyAroundHunks(true);
        press(QKeySequence::Find);
        field("findWords")->setText(QStringLiteral("item 25"));
        QTest::keyClick(field("findWords"), Qt::Key_Return);
        QVERIFY(middle()->textCursor().block().isVisible());
        QVERIFY(editor()->onlyAroundHunks());
        for (const auto side : {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Commit})
            QVERIFY(pane(side)->document()->findBlockByNumber(middle()->textCursor().blockNumber()).isVisible());
    }

    void isReplaced()
    {
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        caughtUp();
        editor()->setCurrentHunk(0);
        middle()->moveCursor(QTextCursor::Start);
        const QAction* replace = m_page->textActions().at(3);
        QCOMPARE(replace->objectName(), QStringLiteral("replace"));
        QTest::keyClick(middle(), replace->shortcut()[0].key(), replace->shortcut()[0].keyboardModifiers());
        QVERIFY(field("replaceWith")->isVisible());
        field("findWords")->setText(QStringLiteral("mine"));
        field("replaceWith")->setText(QStringLiteral("yours"));
        QTest::mouseClick(button("replaceOne"), Qt::LeftButton); // what was not seen is not replaced, but gone to
        QVERIFY(settled().contains(QStringLiteral("    three(mine[1]);")));
        QTest::mouseClick(button("replaceOne"), Qt::LeftButton);
        QVERIFY(settled().contains(QStringLiteral("    three(yours[1]);")));
        caughtUp();
        QCOMPARE(editor()->model().decision(0).choice, Choice::Typed);
        // All of a file: one step of undo, in hunks and around them.
        field("findWords")->setText(QStringLiteral("item"));
        field("replaceWith")->setText(QStringLiteral("an item"));
        QTest::mouseClick(button("replaceAll"), Qt::LeftButton);
        QVERIFY(heard().contains(QStringLiteral("58 replaced")));
        QCOMPARE(settled().filter(QStringLiteral("    an item ")).size(), 58);
        QCOMPARE(settled().size(), 59);
        caughtUp();
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        caughtUp();
        QCOMPARE(settled().filter(QStringLiteral("    item ")).size(), 58);
        QVERIFY(settled().contains(QStringLiteral("    three(yours[1]);")));
        // A side is read, not written.
        pane(ConflictEditor::Pane::NewBase)->setFocus();
        QVERIFY(!button("replaceAll")->isEnabled());
    }

    void goesToALine()
    {
        QAction* go = m_page->textActions().at(4);
        QTest::keyClick(middle(), go->shortcut()[0].key(), go->shortcut()[0].keyboardModifiers());
        QVERIFY(field("lineNumber")->hasFocus());
        field("lineNumber")->selectAll();
        QTest::keyClicks(field("lineNumber"), QStringLiteral("40"));
        QTest::keyClick(field("lineNumber"), Qt::Key_Return);
        QCOMPARE(lineOf(middle()), 40);
        QVERIFY(middle()->hasFocus() && !bar()->isVisible());
        pane(ConflictEditor::Pane::NewBase)->setFocus();
        go->trigger();
        field("lineNumber")->setText(QStringLiteral("9000"));
        QTest::keyClick(field("lineNumber"), Qt::Key_Return);
        QCOMPARE(lineOf(pane(ConflictEditor::Pane::NewBase)), 60);
    }

    void indentationGoesOn()
    {
        editor()->setCurrentHunk(0);
        middle()->setFocus();
        QTest::keyClick(middle(), Qt::Key_Tab);
        QTest::keyClicks(middle(), QStringLiteral("if (x) {"));
        QTest::keyClick(middle(), Qt::Key_Return);
        QTest::keyClick(middle(), Qt::Key_Tab);
        QTest::keyClicks(middle(), QStringLiteral("y;"));
        QTest::keyClick(middle(), Qt::Key_Return);
        QTest::keyClick(middle(), Qt::Key_Backtab);
        QTest::keyClicks(middle(), QStringLiteral("}"));
        editor()->flush();
        caughtUp();
        QCOMPARE(editor()->model().decision(0).text, std::string("    if (x) {\n        y;\n    }\n"));
        QCOMPARE(editor()->model().decision(1).choice, Choice::Undecided);
        // Several lines at once; within an indentation only what stands before the cursor goes on.
        QTextCursor cursor = middle()->textCursor();
        const QTextBlock last = cursor.block();
        cursor.setPosition(last.previous().previous().position());
        cursor.setPosition(last.position() + 1, QTextCursor::KeepAnchor);
        middle()->setTextCursor(cursor);
        QTest::keyClick(middle(), Qt::Key_Tab);
        editor()->flush();
        QCOMPARE(editor()->model().decision(0).text, std::string("        if (x) {\n            y;\n        }\n"));
        QTest::keyClick(middle(), Qt::Key_Backtab);
        editor()->flush();
        QCOMPARE(editor()->model().decision(0).text, std::string("    if (x) {\n        y;\n    }\n"));
        cursor.setPosition(middle()->document()->findBlockByNumber(2).position() + 2);
        middle()->setTextCursor(cursor);
        QTest::keyClick(middle(), Qt::Key_Return);
        editor()->flush();
        QCOMPARE(editor()->model().decision(0).text, std::string("  \n    if (x) {\n        y;\n    }\n"));
        caughtUp();
    }

    void bracketsAreShown()
    {
        QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
        const QTextBlock third = pane(ConflictEditor::Pane::Commit)->document()->findBlockByNumber(2);
        QCOMPARE(third.text(), QStringLiteral("    three(mine[1]);"));
        const auto at = [&](int column) {
            QTextCursor cursor(third);
            cursor.setPosition(third.position() + column);
            pane(ConflictEditor::Pane::Commit)->setTextCursor(cursor);
            std::vector<int> found = pane(ConflictEditor::Pane::Commit)->brackets();
            for (int& position : found)
                position -= third.position();
            return found;
        };
        QCOMPARE(at(9), (std::vector<int>{9, 17}));
        QCOMPARE(at(18), (std::vector<int>{17, 9})); // behind it
        QCOMPARE(at(14), (std::vector<int>{14, 16}));
        QCOMPARE(at(7), std::vector<int>{});
        // Over lines, and past one in a comment.
        editor()->setCurrentHunk(0);
        middle()->setFocus();
        middle()->textCursor().insertText(QStringLiteral("f {\n// }\n}\n"));
        editor()->flush();
        caughtUp();
        const QTextBlock first = middle()->document()->findBlockByNumber(2);
        QTRY_VERIFY_WITH_TIMEOUT(!first.next().layout()->formats().isEmpty(), patience);
        QTextCursor cursor(first);
        cursor.setPosition(first.position() + 2);
        middle()->setTextCursor(cursor);
        QCOMPARE(middle()->brackets(), (std::vector<int>{first.position() + 2, first.next().next().position()}));
    }

    void matches()
    {
        using Found = std::vector<qsizetype>;
        QCOMPARE(matchesIn(u"a cat, a catfish, Cat", {QStringLiteral("cat"), false, false}), (Found{2, 9, 18}));
        QCOMPARE(matchesIn(u"a cat, a catfish, Cat", {QStringLiteral("cat"), false, true}), (Found{2, 18}));
        QCOMPARE(matchesIn(u"a cat, a catfish, Cat", {QStringLiteral("Cat"), true, false}), (Found{18}));
        QCOMPARE(matchesIn(u"aaaa", {QStringLiteral("aa"), true, false}), (Found{0, 2}));
        QCOMPARE(matchesIn(u"_cat cat_ cat", {QStringLiteral("cat"), true, true}), (Found{10}));
        QCOMPARE(matchesIn(u"abc", {QString(), true, false}), Found{});
        QCOMPARE(matchesIn(u"aaaa", {QStringLiteral("a"), true, false}, 2), (Found{0, 1}));
    }

    void habits()
    {
        QCOMPARE(indentHabit("f\n  a\n    b\n  c\n"), (IndentHabit{IndentHabit::Blanks, 2}));
        QCOMPARE(indentHabit("f\n    a\n\n        b\n    c\n        d\n"), (IndentHabit{IndentHabit::Blanks, 4}));
        QCOMPARE(indentHabit("a:\n\tb\n\tc\n"), (IndentHabit{IndentHabit::Tabs}));
        QCOMPARE(indentHabit("a:\n\tb\n/*\n * x\n * y\n */\n\tc\n"), (IndentHabit{IndentHabit::Tabs}));
        QCOMPARE(indentHabit("a\nb\n"), IndentHabit{});
        QCOMPARE(indentHabit(""), IndentHabit{});
        QCOMPARE(indentHabit("f\r\n   a\r\n\r\n   b\r\n"), (IndentHabit{IndentHabit::Blanks, 3}));
    }
};

QTEST_MAIN(TestSettleFind)
#include "test_settle_find.moc"

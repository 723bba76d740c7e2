// SPDX-License-Identifier: MIT
//
// Single lines of either side go into the settled text by a click on their number or by Return, and nothing else does.
#include "app/settle/conflict_editor.h"
#include "app/settle/text_pane.h"

#include <QTextBlock>
#include <QtTest>

using namespace espalier;

namespace {

using Pane = ConflictEditor::Pane;

// "one" and "three" are common; hunk 0 stands between them, hunk 1 before "five".
ConflictText sampleText()
{
    ConflictText text;
    text.path = text.key.path = "a.txt";
    text.ancestor = "one\ntwo\nthree\nfour\nfive\n";
    text.newBase = "one\nTWO\nand more\nthree\nFOUR\nfive\n";
    text.commit = "one\n2\nthree\n4\nfive\n";
    text.hunks.resize(2);
    text.hunks[0] = {{1, 1}, {1, 2}, {1, 1}, "two\n", "TWO\nand more\n", "2\n"};
    text.hunks[1] = {{3, 1}, {4, 1}, {3, 1}, "four\n", "FOUR\n", "4\n"};
    text.between = {"one\n", "three\n", "five\n"};
    return text;
}

} // namespace

class TestTakeLines : public QObject {
    Q_OBJECT

    std::unique_ptr<ConflictEditor> m_editor;

    TextPane* pane(Pane which) const { return m_editor->pane(which); }
    QTextBlock block(Pane which, const QString& line) const
    {
        for (QTextBlock at = pane(which)->document()->begin(); at.isValid(); at = at.next())
            if (at.text() == line)
                return at;
        return {};
    }
    // On the number of the line, left of the text.
    void clickNumberOf(Pane which, const QString& line) const
    {
        QTextCursor cursor(block(which, line));
        const QRect room = pane(which)->cursorRect(cursor);
        const QPoint at(pane(which)->contentsRect().left() + pane(which)->gutterWidth() / 2,
                        pane(which)->viewport()->y() + room.center().y());
        QWidget* under = pane(which)->childAt(at); // none: what is there lets the mouse through
        if (!under)
            under = pane(which);
        QTest::mouseClick(under, Qt::LeftButton, Qt::NoModifier, under->mapFrom(pane(which), at));
    }
    void pressReturnOn(Pane which, const QString& line, int lines = 1) const
    {
        QTextCursor cursor(block(which, line));
        for (int i = 1; i < lines; ++i)
            cursor.movePosition(QTextCursor::NextBlock, QTextCursor::KeepAnchor);
        if (lines > 1)
            cursor.movePosition(QTextCursor::EndOfBlock, QTextCursor::KeepAnchor);
        pane(which)->setTextCursor(cursor);
        QTest::keyClick(pane(which), Qt::Key_Return);
    }
    HunkDecision decision(int hunk) const { return m_editor->model().decision(hunk); }
    static HunkDecision typed(const char* text) { return {Choice::Typed, text}; }

  private Q_SLOTS:
    void init()
    {
        m_editor = std::make_unique<ConflictEditor>();
        m_editor->resize(1000, 500);
        m_editor->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_editor.get()));
        m_editor->setConflict(sampleText(), {});
    }
    void cleanup() { m_editor.reset(); }

    void byClick()
    {
        QSignalSpy told(m_editor.get(), &ConflictEditor::settled);
        clickNumberOf(Pane::NewBase, QStringLiteral("and more"));
        QCOMPARE(decision(0), typed("and more\n"));
        clickNumberOf(Pane::Commit, QStringLiteral("2"));
        QCOMPARE(decision(0), typed("and more\n2\n"));
        QCOMPARE(told.size(), 2); // a step of undo each
        clickNumberOf(Pane::Commit, QStringLiteral("4"));
        QCOMPARE(decision(1), (HunkDecision{Choice::YourCommit, {}})); // all of that side
        QCOMPARE(m_editor->currentHunk(), 1);
        QVERIFY(pane(Pane::Settled)->toPlainText().contains(QStringLiteral("and more\n2\nthree\n4\nfive")));
        for (const Pane side : {Pane::NewBase, Pane::Commit})
            QCOMPARE(pane(side)->rowCount(), pane(Pane::Settled)->rowCount());
    }

    void byKey()
    {
        pressReturnOn(Pane::Commit, QStringLiteral("2"));
        pressReturnOn(Pane::NewBase, QStringLiteral("TWO"), 2);
        QCOMPARE(decision(0), (HunkDecision{Choice::YourCommitFirst, {}}));
        QCOMPARE(pane(Pane::NewBase)->toPlainText().count(QStringLiteral("TWO")), 1); // the side stays as it is
    }

    // A selection over more takes what is of the first hunk in it.
    void onlyLinesOfAHunk()
    {
        clickNumberOf(Pane::NewBase, QStringLiteral("three"));
        pressReturnOn(Pane::Commit, QStringLiteral("one"));
        QCOMPARE(decision(0).choice, Choice::Undecided);
        QCOMPARE(decision(1).choice, Choice::Undecided);
        pressReturnOn(Pane::NewBase, QStringLiteral("one"), 6);
        QCOMPARE(decision(0), (HunkDecision{Choice::NewBase, {}}));
        QCOMPARE(decision(1).choice, Choice::Undecided);
    }

    // A line that a side took out is none of its lines, and is not to be had from it.
    void notWhatWasTakenOut()
    {
        m_editor->setShownAsChange(Pane::Commit, true);
        pressReturnOn(Pane::Commit, QStringLiteral("two"));
        QCOMPARE(decision(0).choice, Choice::Undecided);
        clickNumberOf(Pane::Commit, QStringLiteral("two"));
        QCOMPARE(decision(0).choice, Choice::Undecided);
        clickNumberOf(Pane::Commit, QStringLiteral("2"));
        QCOMPARE(decision(0), (HunkDecision{Choice::YourCommit, {}}));
    }

    void behindWhatIsThere()
    {
        m_editor->setCurrentHunk(0);
        m_editor->decide(Choice::YourCommit);
        clickNumberOf(Pane::NewBase, QStringLiteral("TWO"));
        QCOMPARE(decision(0), typed("2\nTWO\n"));
        clickNumberOf(Pane::Settled, QStringLiteral("TWO")); // the middle pane gives nothing
        QCOMPARE(decision(0), typed("2\nTWO\n"));
    }
};

QTEST_MAIN(TestTakeLines)
#include "test_take_lines.moc"

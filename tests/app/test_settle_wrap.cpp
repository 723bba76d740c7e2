// SPDX-License-Identifier: MIT
// Long lines wrapped in the three panes: each row is as high in all of them, wherever they are scrolled to, whatever is typed,
// decided, hidden or offered, and however wide they are.
#include "app/settle/before_both.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/row_layout.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "core/settle/compose.h"
#include "tests/support/settling.h"
#include "tests/support/temp_repository.h"

#include <QAction>
#include <QCheckBox>
#include <QPushButton>
#include <QScrollBar>
#include <QSettings>
#include <QTextBlock>
#include <QtTest>

#include <random>

using namespace espalier;

namespace {

constexpr int patience = 20000;
using Pane = ConflictEditor::Pane;
constexpr std::array panes{Pane::NewBase, Pane::Settled, Pane::Commit};

std::string sentence(int words, int seed)
{
    std::string text;
    for (int i = 0; i < words; ++i)
        text += (i > 0 ? " " : "") + std::string(std::size_t(2 + (seed * 7 + i * 5) % 9), char('a' + (seed + i) % 26));
    return text + ".";
}

// Prose: paragraphs of one line each, between 0 and 120 words; in every eighth both sides differ.
std::string prose(int side, int paragraphs = 64)
{
    std::string text;
    for (int i = 0; i < paragraphs; ++i) {
        const bool differs = i % 8 == 3 && side > 0;
        const int words = i % 5 == 0 ? 0 : differs ? (i * side * 13) % 90 : (i * 31) % 60;
        text += words == 0 ? "" : sentence(words, differs ? i + side * 100 : i);
        text += "\n";
        if (differs && side == 2)
            text += "A short line more.\n";
    }
    return text;
}

ConflictText conflict(const std::string& ancestor, const std::string& newBase, const std::string& commit)
{
    const TextMerge merge = mergeTexts(ancestor, newBase, commit);
    ConflictText text;
    text.path = "notes.txt";
    text.ancestor = ancestor;
    text.newBase = newBase;
    text.commit = commit;
    for (const Segment& segment : segmentsOf(merge, ancestor, newBase, commit)) {
        if (!segment.conflict) {
            text.between.emplace_back(segment.text);
            continue;
        }
        const TextHunk& hunk = merge.hunks[segment.hunk];
        text.hunks.push_back({hunk.ancestor, hunk.newBase, hunk.commit, std::string(segment.ancestor),
                              std::string(segment.newBase), std::string(segment.commit)});
    }
    return text;
}

QTextBlock blockOf(const TextPane* pane, int row) { return pane->document()->findBlockByNumber(row); }

// What is wrong with where the rows stand; nothing where they stand side by side.
QString apart(ConflictEditor& editor)
{
    const TextPane* middle = editor.pane(Pane::Settled);
    for (const Pane which : panes) {
        const TextPane* pane = editor.pane(which);
        if (pane->rowCount() != middle->rowCount())
            return QStringLiteral("%1 rows, not %2").arg(pane->rowCount()).arg(middle->rowCount());
        const auto bar = [](const TextPane* of) {
            return QStringLiteral("%1 of %2 to %3 lines")
                .arg(of->verticalScrollBar()->value())
                .arg(of->verticalScrollBar()->maximum())
                .arg(of->document()->lineCount());
        };
        if (bar(pane) != bar(middle))
            return QStringLiteral("%1 scrolled to %2, not %3").arg(int(which)).arg(bar(pane), bar(middle));
    }
    const int height = middle->viewport()->height();
    for (int row = 0; row < middle->rowCount(); ++row) {
        const QTextBlock block = blockOf(middle, row);
        const QRectF room = middle->rectOfRow(block);
        const bool inView = block.isVisible() && room.bottom() > 0 && room.top() < height;
        for (const Pane which : panes) {
            const TextPane* pane = editor.pane(which);
            const QTextBlock other = blockOf(pane, row);
            if (other.lineCount() != block.lineCount() || other.isVisible() != block.isVisible())
                return QStringLiteral("row %1 has %2 lines, not %3")
                    .arg(row)
                    .arg(other.lineCount())
                    .arg(block.lineCount());
            if (!inView)
                continue;
            const QRectF there = pane->rectOfRow(other);
            if (there.top() != room.top() || there.height() != room.height())
                return QStringLiteral("row %1 from %2 to %3, not %4 to %5")
                    .arg(row)
                    .arg(there.top())
                    .arg(there.bottom())
                    .arg(room.top())
                    .arg(room.bottom());
            // Where the edit itself paints the text, by its cursor.
            const QRect first = pane->cursorRect(QTextCursor(other));
            if (first.top() < int(room.top()) || first.top() > room.top() + 3 || first.bottom() > room.bottom() + 1)
                return QStringLiteral("the text of row %1 at %2, not %3").arg(row).arg(first.top()).arg(room.top());
        }
    }
    return {};
}

#define SIDE_BY_SIDE(editor) QCOMPARE(apart(editor), QString())

} // namespace

class TestSettleWrap : public QObject {
    Q_OBJECT

    std::unique_ptr<ConflictEditor> m_editor;

    TextPane* pane(Pane which) const { return m_editor->pane(which); }
    TextPane* middle() const { return pane(Pane::Settled); }
    void show(const ConflictText& text, const QSize& size = {900, 500})
    {
        m_editor = std::make_unique<ConflictEditor>();
        m_editor->resize(size);
        m_editor->setConflict(text, undecided(text));
        m_editor->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_editor.get()));
    }
    void putCursor(int row, int column)
    {
        QTextCursor cursor = middle()->textCursor();
        const QTextBlock block = blockOf(middle(), row);
        cursor.setPosition(block.position() + std::min(column, block.length() - 1));
        middle()->setTextCursor(cursor);
    }

  private Q_SLOTS:
    void initTestCase()
    {
        QCoreApplication::setOrganizationName(QStringLiteral("espalier-test-wrap"));
        QStandardPaths::setTestModeEnabled(true);
        QSettings().clear();
    }
    void cleanup() { m_editor.reset(); }
    void cleanupTestCase() { QSettings().clear(); }

    // Not wrapped, a row is a line, in all panes.
    void isOffAtFirst()
    {
        show(conflict(prose(0), prose(1), prose(2)));
        QVERIFY(!m_editor->isWrapped());
        for (const Pane which : panes) {
            QCOMPARE(pane(which)->document()->lineCount(), pane(which)->rowCount());
            QCOMPARE(pane(which)->lineWrapMode(), QPlainTextEdit::NoWrap);
        }
        SIDE_BY_SIDE(*m_editor);
    }

    void staysAtEveryLine()
    {
        show(conflict(prose(0), prose(1), prose(2)));
        m_editor->setWrapped(true);
        QVERIFY(middle()->document()->lineCount() > 2 * middle()->rowCount());
        QCOMPARE(pane(Pane::Commit)->horizontalScrollBar()->maximum(), 0);
        QScrollBar* bar = middle()->verticalScrollBar();
        for (int value = 0; value <= bar->maximum(); ++value) {
            bar->setValue(value);
            QCoreApplication::processEvents();
            SIDE_BY_SIDE(*m_editor);
        }
        // The last row is the lowest, and wholly in view.
        const QTextBlock last = middle()->document()->lastBlock();
        QVERIFY(middle()->rectOfRow(last).bottom() <= middle()->viewport()->height() + 1);
        QVERIFY(middle()->rectOfRow(last).bottom() >
                middle()->viewport()->height() - 3 * middle()->fontMetrics().height());
        for (int value = bar->maximum(); value > 0; value -= 3) {
            pane(Pane::NewBase)->verticalScrollBar()->setValue(value);
            QCoreApplication::processEvents();
            SIDE_BY_SIDE(*m_editor);
        }
        m_editor->setWrapped(false);
        QCOMPARE(middle()->document()->lineCount(), middle()->rowCount());
        SIDE_BY_SIDE(*m_editor);
    }

    void staysAtAnyWidth()
    {
        show(conflict(prose(0), prose(1), prose(2)));
        m_editor->setWrapped(true);
        middle()->verticalScrollBar()->setValue(middle()->verticalScrollBar()->maximum() / 2);
        const auto topRow = [&] { return middle()->cursorForPosition({5, 5}).blockNumber(); };
        const int top = topRow();
        for (const QSize size :
             {QSize(700, 500), QSize(1500, 500), QSize(1500, 900), QSize(640, 300), QSize(900, 500)}) {
            m_editor->resize(size);
            QCoreApplication::processEvents();
            SIDE_BY_SIDE(*m_editor);
            QVERIFY2(std::abs(topRow() - top) <= 1, qPrintable(QString::number(topRow())));
        }
        // A view that only becomes lower or higher begins where it did, be it within a row.
        const int value = middle()->verticalScrollBar()->value();
        for (int i = 0; i < 20; ++i) {
            middle()->verticalScrollBar()->setValue(value - 10 + i);
            m_editor->resize(900, i % 2 ? 500 : 440);
            QCoreApplication::processEvents();
            QCOMPARE(middle()->verticalScrollBar()->value(), value - 10 + i);
            SIDE_BY_SIDE(*m_editor);
        }
    }

    // By every key that there is, anywhere: what is typed is what the model has, and no row moves from the others.
    void staysWhileTyping()
    {
        show(conflict(prose(0), prose(1), prose(2)));
        m_editor->setWrapped(true);
        middle()->setFocus();
        std::mt19937 random(20261130);
        for (int i = 0; i < 400; ++i) {
            if (i % 5 == 0)
                putCursor(int(random() % unsigned(middle()->rowCount())), int(random() % 200));
            if (i % 40 == 0)
                m_editor->setCurrentHunk(int(random() % unsigned(m_editor->model().hunkCount())));
            const auto what = random() % 12;
            switch (what) {
            case 0:
                QTest::keyClick(middle(), Qt::Key_Return);
                break;
            case 1:
                QTest::keyClick(middle(), Qt::Key_Backspace);
                break;
            case 2:
                QTest::keyClick(middle(), Qt::Key_Delete);
                break;
            case 3:
                QTest::keyClick(middle(), Qt::Key_Down, random() % 2 ? Qt::ShiftModifier : Qt::NoModifier);
                break;
            case 4:
                QTest::keyClick(middle(), random() % 2 ? Qt::Key_PageDown : Qt::Key_PageUp);
                break;
            case 5:
                m_editor->decide(Choice(1 + random() % 4));
                break;
            case 6:
                m_editor->setShownAsChange(random() % 2 ? Pane::NewBase : Pane::Commit, random() % 2);
                break;
            default:
                QTest::keyClicks(middle(), QString::fromStdString(sentence(6, i)));
                break;
            }
            if (i % 3 == 0)
                QCoreApplication::processEvents();
            QVERIFY2(apart(*m_editor).isEmpty(),
                     qPrintable(QStringLiteral("%1, %2: %3").arg(i).arg(what).arg(apart(*m_editor))));
        }
        m_editor->flush();
    }

    void cursorGoesByLinesOfTheScreen()
    {
        show(conflict("x\n", sentence(100, 1) + "\n", "short\n"));
        m_editor->setWrapped(true);
        m_editor->decide(Choice::NewBaseFirst);
        middle()->setFocus();
        putCursor(0, 0);
        QTest::keyClick(middle(), Qt::Key_Down);
        QCOMPARE(middle()->textCursor().blockNumber(), 0);
        QVERIFY(middle()->textCursor().positionInBlock() > 5);
        // In the other pane the row has one line of its own and room below it.
        TextPane* right = pane(Pane::Commit);
        const QRectF room = right->rectOfRow(blockOf(right, 0));
        QVERIFY(room.height() > 5 * right->fontMetrics().height());
        QCOMPARE(right->cursorForPosition(QPoint(4, int(room.bottom()) - 3)).position(), 5);
        right->setFocus();
        QTest::keyClick(right, Qt::Key_Down);
        QCOMPARE(right->textCursor().blockNumber(), 1);
    }

    // What is offered takes its lines too, and no more once it is taken.
    void offersAreWrapped()
    {
        const ConflictText text = conflict("x\n", "one\n", "two\n");
        show(text);
        m_editor->setWrapped(true);
        m_editor->setOffers({HunkDecision{Choice::Typed, sentence(60, 4) + "\nand\n"}});
        SIDE_BY_SIDE(*m_editor);
        QVERIFY(blockOf(middle(), 1).lineCount() > 5);
        QCOMPARE(blockOf(middle(), 2).lineCount(), 1);
        m_editor->decide(Choice::NewBase);
        SIDE_BY_SIDE(*m_editor);
        QCOMPARE(middle()->document()->lineCount(), middle()->rowCount());
    }

    void staysWhenMuchIsHidden()
    {
        show(conflict(prose(0, 300), prose(1, 300), prose(2, 300)));
        m_editor->setWrapped(true);
        m_editor->setOnlyAroundHunks(true);
        QCoreApplication::processEvents();
        SIDE_BY_SIDE(*m_editor);
        m_editor->setCurrentHunk(20);
        m_editor->decide(Choice::YourCommit);
        QCoreApplication::processEvents();
        SIDE_BY_SIDE(*m_editor);
        m_editor->showLine(Pane::Settled, 0); // far from each hunk
        SIDE_BY_SIDE(*m_editor);
        m_editor->setOnlyAroundHunks(false);
        QCoreApplication::processEvents();
        SIDE_BY_SIDE(*m_editor);
        m_editor->setCurrentHunk(30);
        const QRectF room = middle()->rectOfRow(middle()->textCursor().block());
        QVERIFY2(room.top() >= 0 && room.bottom() < middle()->viewport()->height(),
                 qPrintable(QString::number(room.top())));
    }

    // A letter of another font is higher.
    void otherFontsAreNoHigher()
    {
        show(conflict("x\n", "\xe6\xbc\xa2\xe5\xad\x97 \xe0\xbd\xa6 one\nlow\nb\n",
                      "one\nlow\n\xe0\xbd\xa6\xe6\xbc\xa2\n"));
        m_editor->setWrapped(true);
        m_editor->decide(Choice::NewBaseFirst);
        SIDE_BY_SIDE(*m_editor);
    }

    // By key, by menu and by the box; remembered.
    void isRemembered()
    {
        test::TempRepository repo;
        const auto base = repo.commitFiles({{"a.txt", "x\n"}}, "Base", {}, "main");
        repo.commitFiles({{"a.txt", sentence(60, 2) + "\n"}}, "Mine", {base}, "topic/x");
        repo.commitFiles({{"a.txt", sentence(50, 3) + "\n"}}, "Upstream", {base}, "main");
        test::OpenTopic open;
        test::openTopic(repo, "refs/heads/topic/x", open);
        QVERIFY(open.plan);
        {
            SettlePage page(open.session.get(), open.flow.get());
            QVERIFY(test::beginSettling(page, open));
            QTRY_VERIFY_WITH_TIMEOUT(page.findChild<QPushButton*>(QStringLiteral("new-base"))->isEnabled(), patience);
            auto* editor = page.findChild<ConflictEditor*>();
            auto* box = page.findChild<QCheckBox*>(QStringLiteral("wrapLines"));
            QVERIFY(!editor->isWrapped() && !box->isChecked());
            editor->pane(Pane::Settled)->setFocus();
            QTest::keyClick(editor->pane(Pane::Settled), Qt::Key_W, Qt::AltModifier);
            QVERIFY(editor->isWrapped() && box->isChecked());
            QVERIFY(page.findChild<QAction*>(QStringLiteral("wrapLines"))->isChecked());
            SIDE_BY_SIDE(*editor);
            box->click();
            QVERIFY(!editor->isWrapped());
            QVERIFY(!page.findChild<QAction*>(QStringLiteral("wrapLines"))->isChecked());
            page.findChild<QAction*>(QStringLiteral("wrapLines"))->trigger();
            QVERIFY(editor->isWrapped() && box->isChecked());
            QVERIFY(page.findChild<BeforeBoth*>()->findChild<TextPane*>()->isWrapped());
        }
        SettlePage again(open.session.get(), open.flow.get());
        QVERIFY(again.findChild<ConflictEditor*>()->isWrapped());
        QVERIFY(again.findChild<QCheckBox*>(QStringLiteral("wrapLines"))->isChecked());
    }
};

QTEST_MAIN(TestSettleWrap)
#include "test_settle_wrap.moc"

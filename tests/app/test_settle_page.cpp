// SPDX-License-Identifier: MIT
// The editor with values made by hand, and the settle page on a real repository: by mouse, by keyboard, by typing.
#include "app/settle/conflict_editor.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "core/samples/samples.h"

#include <QClipboard>
#include <QPushButton>
#include <QScrollBar>
#include <QTextBlock>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;
constexpr char sameTopic[] = "refs/heads/topic/metric-heights";
using Pane = ConflictEditor::Pane;

ConflictText sampleText(const std::string& end = "\n")
{
    const auto lines = [&](std::initializer_list<const char*> all) {
        std::string text;
        for (const char* line : all)
            text += line + end;
        return text;
    };
    ConflictText text;
    text.path = text.key.path = "core/height.cpp";
    text.ancestor = lines({"one", "two", "three", "four", "five"});
    text.newBase = lines({"zero", "one", "TWO", "and more", "three", "FOUR", "five"});
    text.commit = lines({"one", "2", "three", "five"});
    text.hunks.resize(2);
    text.hunks[0] = {{1, 1}, {2, 2}, {1, 1}, lines({"two"}), lines({"TWO", "and more"}), lines({"2"})};
    text.hunks[1] = {{3, 1}, {5, 1}, {3, 0}, lines({"four"}), lines({"FOUR"}), ""};
    text.between = {lines({"zero", "one"}), lines({"three"}), lines({"five"})};
    return text;
}

std::string wholeOf(const ConflictText& text, const FileSettlement& settlement)
{
    return settledText(text, settlement);
}

bool isEdited(const SettledPiece& piece)
{
    const auto* stretch = std::get_if<SettledStretch>(&piece);
    return stretch && stretch->edit;
}

// Each row that holds a line of the file has its number, whatever was put in and taken out above it.
void compareNumbers(const TextPane& pane)
{
    int number = 0;
    for (int row = 0; row < pane.rowCount(); ++row) {
        const PaneRow at = pane.row(row);
        const bool counts = !(at.filler && at.text.isEmpty()) && at.kind != ChangedLine::Removed;
        number += counts;
        QCOMPARE(pane.numberOfRow(row), counts ? number : 0);
    }
}

// Rows of all panes at which a hunk begins stay on one height.
void compareHeights(const ConflictEditor& editor)
{
    const int rows = editor.pane(Pane::Settled)->rowCount();
    for (const Pane side : {Pane::NewBase, Pane::Commit}) {
        QCOMPARE(editor.pane(side)->rowCount(), rows);
        for (int row = 0; row < rows; ++row)
            QCOMPARE(editor.pane(side)->row(row).group, editor.pane(Pane::Settled)->row(row).group);
    }
    for (const Pane which : {Pane::NewBase, Pane::Settled, Pane::Commit})
        compareNumbers(*editor.pane(which));
}

} // namespace

class TestSettlePage : public QObject {
    Q_OBJECT

    QTemporaryDir m_folder;
    std::unique_ptr<Session> m_session;
    std::unique_ptr<ReplayFlow> m_flow;
    std::unique_ptr<SettlePage> m_page;

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }

    void startOnSample()
    {
        const std::filesystem::path folder =
            m_folder.filePath(QUuid::createUuid().toString(QUuid::Id128)).toStdString();
        const auto built = buildSample("same-lines", folder);
        QVERIFY2(built, built ? "" : built.error().line().c_str());
        m_session = std::make_unique<Session>();
        m_session->open(QString::fromStdString(built->clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen(), patience);
        auto repository = Repository::open(built->clone);
        const Snapshot& snapshot = *m_session->snapshot();
        PlanOptions options;
        options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
        const auto plan =
            planBranch(*repository, snapshot, sameTopic, snapshot.mainLineRef()->tip, "upstream/main", options);
        QVERIFY2(plan, plan ? "" : plan.error().line().c_str());
        m_flow = std::make_unique<ReplayFlow>(m_session.get());
        m_page = std::make_unique<SettlePage>(m_session.get(), m_flow.get());
        m_page->resize(1300, 800);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        m_flow->start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_flow->run() && !m_flow->isBusy(), patience);
        m_page->begin();
        QTRY_VERIFY_WITH_TIMEOUT(editor()->currentHunk() >= 0, patience);
    }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_flow->isBusy(), patience); }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_flow.reset();
        m_session.reset();
    }

    void everyChoiceGivesItsText_data()
    {
        QTest::addColumn<int>("choice");
        QTest::addColumn<QByteArray>("hunk");
        QTest::newRow("new base") << int(Choice::NewBase) << QByteArray("TWO\nand more\n");
        QTest::newRow("your commit") << int(Choice::YourCommit) << QByteArray("2\n");
        QTest::newRow("new base first") << int(Choice::NewBaseFirst) << QByteArray("TWO\nand more\n2\n");
        QTest::newRow("your commit first") << int(Choice::YourCommitFirst) << QByteArray("2\nTWO\nand more\n");
    }
    void everyChoiceGivesItsText()
    {
        QFETCH(int, choice);
        QFETCH(QByteArray, hunk);
        const ConflictText text = sampleText();
        ConflictEditor editor_;
        editor_.setConflict(text, {});
        QSignalSpy told(&editor_, &ConflictEditor::settled);
        editor_.setCurrentHunk(0);
        editor_.decide(Choice(choice));
        QCOMPARE(told.size(), 1);
        const FileSettlement made = editor_.model().settlement();
        QCOMPARE(wholeOf(text, made), "zero\none\n" + hunk.toStdString() + "three\nFOUR\nfive\n");
        compareHeights(editor_);
        QStringList shown;
        for (int row = 0; row < editor_.pane(Pane::Settled)->rowCount(); ++row)
            if (const PaneRow at = editor_.pane(Pane::Settled)->row(row); !at.filler)
                shown << at.text;
        QVERIFY(shown.join(u'\n').contains(QString::fromUtf8(hunk).chopped(1)));
    }

    void typingDecides()
    {
        const ConflictText text = sampleText();
        ConflictEditor editor_;
        editor_.resize(1000, 500);
        editor_.show();
        editor_.setConflict(text, {});
        QSignalSpy told(&editor_, &ConflictEditor::settled);
        editor_.setCurrentHunk(0);
        TextPane* middle = editor_.pane(Pane::Settled);
        QTest::keyClicks(middle, QStringLiteral("mine"));
        QTest::keyClick(middle, Qt::Key_Return);
        QTest::keyClicks(middle, QStringLiteral("too"));
        QTRY_VERIFY(told.size() >= 1);
        QCOMPARE(editor_.model().decision(0).choice, Choice::Typed);
        QCOMPARE(editor_.model().decision(0).text, std::string("mine\ntoo\n"));
        QVERIFY(std::ranges::none_of(editor_.model().settlement().pieces, isEdited));
        compareHeights(editor_);
        // More lines than either side has: the other panes make room.
        for (int i = 0; i < 6; ++i)
            QTest::keyClick(middle, Qt::Key_Return);
        compareHeights(editor_);
    }

    void typingOutsideTheHunksEditsTheirStretches()
    {
        const ConflictText text = sampleText();
        ConflictEditor editor_;
        editor_.setConflict(text, {});
        editor_.setCurrentHunk(0);
        editor_.decide(Choice::YourCommit);
        TextPane* middle = editor_.pane(Pane::Settled);
        middle->moveCursor(QTextCursor::Start);
        QTest::keyClicks(middle, QStringLiteral("new "));
        middle->moveCursor(QTextCursor::End);
        QTest::keyClick(middle, Qt::Key_Return);
        QTest::keyClicks(middle, QStringLiteral("six"));
        editor_.flush();
        const FileSettlement made = editor_.model().settlement();
        QVERIFY(isEdited(made.pieces[0]) && !isEdited(made.pieces[2]) && isEdited(made.pieces[4]));
        QCOMPARE(wholeOf(text, made), std::string("new zero\none\n2\nthree\nFOUR\nfive\nsix\n"));
        compareHeights(editor_);
        ConflictEditor again;
        again.setConflict(text, made);
        QCOMPARE(again.model().settlement(), made);
    }

    // Whatever is deleted or pasted, panes stay side by side and the text is what is on screen.
    void editsOfEveryKind()
    {
        const ConflictText text = sampleText();
        ConflictEditor editor_;
        editor_.resize(1000, 500);
        editor_.show();
        editor_.setConflict(text, {});
        editor_.setCurrentHunk(1);
        editor_.decide(Choice::NewBase);
        TextPane* middle = editor_.pane(Pane::Settled);
        quint32 seed = 20261125;
        for (int round = 0; round < 300; ++round) {
            const auto random = [&](int bound) {
                seed = seed * 1664525 + 1013904223;
                return int((seed >> 8) % quint32(bound));
            };
            QTextCursor cursor = middle->textCursor();
            cursor.setPosition(random(middle->document()->characterCount()));
            if (random(3) == 0)
                cursor.setPosition(random(middle->document()->characterCount()), QTextCursor::KeepAnchor);
            middle->setTextCursor(cursor);
            switch (random(5)) {
            case 0:
                QTest::keyClick(middle, Qt::Key_Backspace);
                break;
            case 1:
                QTest::keyClick(middle, Qt::Key_Delete);
                break;
            case 2:
                QTest::keyClick(middle, Qt::Key_Return);
                break;
            case 3:
                QTest::keyClicks(middle, QStringLiteral("xy"));
                break;
            default:
                middle->textCursor().insertText(QStringLiteral("p\nq\nr"));
                break;
            }
            compareHeights(editor_);
            QStringList shown, kept;
            for (int row = 0; row < middle->rowCount(); ++row)
                if (const PaneRow at = middle->row(row); !at.filler)
                    shown << at.text;
            for (int group = 0; group < editor_.model().groupCount(); ++group)
                kept += editor_.model().settled(group);
            QCOMPARE(shown, kept);
        }
    }

    void bytesThatAreNoUtf8AreKept()
    {
        ConflictText text = sampleText("\r\n");
        text.between[0] = "z\xe9ro\r\none\r\n";
        text.newBase.replace(1, 1, "\xe9");
        ConflictEditor editor_;
        editor_.setConflict(text, {});
        editor_.setCurrentHunk(0);
        editor_.decide(Choice::NewBase);
        editor_.setCurrentHunk(1);
        editor_.decide(Choice::YourCommit);
        TextPane* middle = editor_.pane(Pane::Settled);
        middle->moveCursor(QTextCursor::End);
        QTest::keyClicks(middle, QStringLiteral("!"));
        editor_.flush();
        QCOMPARE(wholeOf(text, editor_.model().settlement()),
                 std::string("z\xe9ro\r\none\r\nTWO\r\nand more\r\nthree\r\nfive!\r\n"));
    }

    // By key, by input method, by paste, and through the clipboard from pane to pane: the bytes are those of the text.
    void whatIsTypedIsWritten_data()
    {
        QTest::addColumn<QString>("text");
        QTest::newRow("control pictures") << QStringLiteral("\u2400\u240D");
        QTest::newRow("private use") << QStringLiteral("\uF02D\uF0FC");
        QTest::newRow("direction overrides") << QStringLiteral("\u202E\u2066");
        QTest::newRow("separators") << QStringLiteral("\u2028\u2029");
        QTest::newRow("ends of frames") << QString(QChar(0xFDD0)) + QChar(0xFDD1);
        QTest::newRow("objects and order marks") << QStringLiteral("\uFFFC\uFEFF\uFFFD");
        QTest::newRow("beyond the first plane") << QStringLiteral("\U0001F30A\U0010FFFD");
        QTest::newRow("spaces") << QStringLiteral("\u00A0\u2003\u200D");
        QTest::newRow("C1") << QStringLiteral("\u0085\u009B");
    }
    void whatIsTypedIsWritten()
    {
        QFETCH(QString, text);
        ConflictEditor editor_;
        editor_.resize(1000, 500);
        editor_.show();
        editor_.setConflict(sampleText(), {});
        editor_.setCurrentHunk(0);
        TextPane* middle = editor_.pane(Pane::Settled);
        const std::string wanted = text.toStdString();
        for (qsizetype i = 0; i < text.size();) {
            const qsizetype length = text.at(i).isHighSurrogate() ? 2 : 1;
            QKeyEvent key(QEvent::KeyPress, Qt::Key_unknown, Qt::NoModifier, text.mid(i, length));
            QCoreApplication::sendEvent(middle, &key);
            i += length;
        }
        QCOMPARE(editor_.model().decision(0).text, wanted + "\n");
        QInputMethodEvent input;
        input.setCommitString(text);
        QCoreApplication::sendEvent(middle, &input);
        QCOMPARE(editor_.model().decision(0).text, wanted + wanted + "\n");
        QApplication::clipboard()->setText(text);
        middle->paste();
        QCOMPARE(editor_.model().decision(0).text, wanted + wanted + wanted + "\n");
        // A row is one row, and typing goes on behind it.
        QTest::keyClicks(middle, QStringLiteral("x"));
        QCOMPARE(editor_.model().decision(0).text, wanted + wanted + wanted + "x\n");
        compareHeights(editor_);
        editor_.grab();
        QTextCursor all = middle->textCursor();
        all.movePosition(QTextCursor::StartOfBlock);
        all.movePosition(QTextCursor::EndOfBlock, QTextCursor::KeepAnchor);
        middle->setTextCursor(all);
        middle->copy();
        QCOMPARE(QApplication::clipboard()->text(), text + text + text + u'x');
        QTest::keyClick(middle, Qt::Key_Right);
        middle->paste();
        QCOMPARE(editor_.model().decision(0).text, wanted + wanted + wanted + "x" + wanted + wanted + wanted + "x\n");
    }
    // Bytes that are no text go from pane to pane whole.
    void bytesAreCopied()
    {
        ConflictText text = sampleText();
        text.hunks[0].newBaseText = "caf\xc3\xa9 \xff\xfe\n";
        text.newBase = "zero\none\n" + text.hunks[0].newBaseText + "three\nFOUR\nfive\n";
        ConflictEditor editor_;
        editor_.show();
        editor_.setConflict(text, {});
        TextPane* left = editor_.pane(Pane::NewBase);
        left->selectAll();
        left->copy();
        editor_.setCurrentHunk(0);
        editor_.pane(Pane::Settled)->paste();
        QCOMPARE(editor_.model().decision(0).text, text.newBase);
    }

    void panesScrollTogether()
    {
        ConflictText text = sampleText();
        std::string many;
        for (int i = 0; i < 3000; ++i)
            many += "line " + std::to_string(i) + "\n";
        text.between[2] += many;
        text.newBase += many;
        text.commit += many;
        text.ancestor += many;
        ConflictEditor editor_;
        editor_.resize(1000, 400);
        editor_.show();
        editor_.setConflict(text, {});
        editor_.pane(Pane::Commit)->verticalScrollBar()->setValue(500);
        QCOMPARE(editor_.pane(Pane::NewBase)->verticalScrollBar()->value(), 500);
        QCOMPARE(editor_.pane(Pane::Settled)->verticalScrollBar()->value(), 500);
        editor_.setOnlyAroundHunks(true);
        QVERIFY(editor_.pane(Pane::Settled)->verticalScrollBar()->maximum() < 50);
        editor_.setOnlyAroundHunks(false);
        QVERIFY(editor_.pane(Pane::Settled)->verticalScrollBar()->maximum() > 2900);
    }

    void sideShownAsChange()
    {
        ConflictEditor editor_;
        editor_.setConflict(sampleText(), {});
        editor_.setShownAsChange(Pane::NewBase, true);
        compareHeights(editor_);
        QStringList removed;
        for (int row = 0; row < editor_.pane(Pane::NewBase)->rowCount(); ++row)
            if (const PaneRow at = editor_.pane(Pane::NewBase)->row(row); at.kind == ChangedLine::Removed)
                removed << at.text;
        QCOMPARE(removed, (QStringList{QStringLiteral("two"), QStringLiteral("four")}));
        editor_.setShownAsChange(Pane::NewBase, false);
        compareHeights(editor_);
    }

    void bigFilesAndLongLines()
    {
        ConflictText text = sampleText();
        std::string many;
        for (int i = 0; i < 100000; ++i)
            many += "int line" + std::to_string(i) + " = 0; // and a comment\n";
        many += std::string(10000, 'x') + "\n";
        text.between[2] += many;
        text.newBase += many;
        text.commit += many;
        text.ancestor += many;
        ConflictEditor editor_;
        editor_.resize(1000, 500);
        editor_.show();
        editor_.setConflict(text, {});
        QVERIFY(editor_.onlyAroundHunks());
        editor_.setCurrentHunk(0);
        QTest::keyClicks(editor_.pane(Pane::Settled), QStringLiteral("typed"));
        QCOMPARE(editor_.model().decision(0).text, std::string("typed\n"));
        editor_.setOnlyAroundHunks(false);
        compareHeights(editor_);
    }

    void wholeJobByMouse()
    {
        startOnSample();
        QSignalSpy done(m_page.get(), &SettlePage::allSettled);
        const std::size_t hunks = m_flow->run()->undecided();
        QVERIFY(hunks >= 2);
        for (std::size_t i = 0; i < hunks; ++i) {
            QTest::mouseClick(button(i == 0 ? "new-base-first" : "your-commit"), Qt::LeftButton);
            QTest::mouseClick(button("nextUndecided"), Qt::LeftButton);
        }
        QTRY_COMPARE_WITH_TIMEOUT(done.size(), 1, patience);
        QVERIFY(m_flow->run()->clean);
        QCOMPARE(m_flow->run()->undecided(), std::size_t(0));
    }

    void wholeJobByKeyboard()
    {
        startOnSample();
        QSignalSpy done(m_page.get(), &SettlePage::allSettled);
        // What is typed makes later commits conflict in their turn: *next undecided* goes on to them.
        for (int step = 0; step < 20 && done.isEmpty(); ++step) {
            TextPane* middle = editor()->pane(Pane::Settled);
            middle->setFocus();
            if (step == 0)
                QTest::keyClicks(middle, QStringLiteral("typed by hand"));
            else if (editor()->model().decision(editor()->currentHunk()).choice == Choice::Undecided)
                QTest::keyClick(middle, Qt::Key_1, Qt::AltModifier);
            caughtUp();
            QTest::keyClick(middle, Qt::Key_F8);
            QTest::qWait(200);
        }
        QTRY_COMPARE_WITH_TIMEOUT(done.size(), 1, patience);
        bool typed = false;
        for (const auto& [key, settlement] : m_flow->settlements().files())
            for (std::size_t i = 0; i < settlement.hunkCount(); ++i)
                typed = typed || settlement.decision(i).text.contains("typed by hand");
        QVERIFY(typed);
        // Escape leaves the pane that keeps Tab.
        editor()->pane(Pane::Settled)->setFocus();
        QTest::keyClick(editor()->pane(Pane::Settled), Qt::Key_Escape);
        QVERIFY(button("nextUndecided")->hasFocus());
    }

    void undoAndRedo()
    {
        startOnSample();
        const std::size_t hunks = m_flow->run()->undecided();
        QTest::mouseClick(button("new-base"), Qt::LeftButton);
        QCOMPARE(editor()->model().decision(editor()->currentHunk()).choice, Choice::NewBase);
        caughtUp();
        QCOMPARE(m_flow->run()->undecided(), hunks - 1);
        QTest::keyClick(editor()->pane(Pane::Settled), Qt::Key_Z, Qt::ControlModifier);
        QCOMPARE(editor()->model().decision(editor()->currentHunk()).choice, Choice::Undecided);
        QVERIFY(!button("undo")->isEnabled());
        QTest::mouseClick(button("redo"), Qt::LeftButton);
        QCOMPARE(editor()->model().decision(editor()->currentHunk()).choice, Choice::NewBase);
        caughtUp();
        QCOMPARE(m_flow->run()->undecided(), hunks - 1);
    }
};

QTEST_MAIN(TestSettlePage)
#include "test_settle_page.moc"

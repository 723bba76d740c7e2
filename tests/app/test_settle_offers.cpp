// SPDX-License-Identifier: MIT
//
// What the settle page offers: drawn beside the text and no part of it, taken by a key and never unasked, all of a file only when
// each was looked at, taken back like any decision, and what was settled before remembered, offered and forgotten.
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/offer_bar.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"
#include "core/settle/memory_store.h"
#include "core/settle/remembered.h"
#include "tests/support/policy_scene.h"

#include <QPushButton>
#include <QTextBlock>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {
constexpr int patience = 30000;
using Pane = ConflictEditor::Pane;
} // namespace

class TestSettleOffers : public QObject {
    Q_OBJECT

    std::unique_ptr<PolicyScene> m_scene;
    std::unique_ptr<Session> m_session;
    std::unique_ptr<ReplayFlow> m_flow;
    std::unique_ptr<SettlePage> m_page;

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    OfferBar* bar() const { return m_page->findChild<OfferBar*>(); }
    QTreeWidgetItem* row(int file, int hunk) const
    {
        return m_page->findChild<HunkList*>()->fileItem(file)->child(hunk);
    }
    Choice choiceOf(int hunk) const { return editor()->model().decision(hunk).choice; }
    QString settledPaneText() const { return editor()->pane(Pane::Settled)->toPlainText(); }
    QString barWords() const { return bar()->findChild<PlainLabel*>()->fullText(); }
    bool isOffered(int file, int hunk, const char* words) const
    {
        return row(file, hunk)->text(1).contains(QLatin1String(words));
    }
    void press(Qt::Key key) { QTest::keyClick(m_page->window(), key, Qt::AltModifier); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_flow->isBusy(), patience); }

    void start(int merges)
    {
        m_scene = std::make_unique<PolicyScene>(merges, true);
        m_session = std::make_unique<Session>();
        m_session->open(m_scene->repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen(), patience);
        m_flow = std::make_unique<ReplayFlow>(m_session.get());
        m_page = std::make_unique<SettlePage>(m_session.get(), m_flow.get());
        m_page->resize(1300, 800);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        begin();
    }
    void begin()
    {
        m_flow->start(m_scene->plan());
        QTRY_VERIFY_WITH_TIMEOUT(m_flow->run() && !m_flow->isBusy(), patience);
        m_page->begin();
        QTRY_VERIFY_WITH_TIMEOUT(
            editor()->currentHunk() >= 0 && !m_page->findChild<HunkList*>()->selectedItems().isEmpty(), patience);
    }
    // The same replay another time, of which nothing is decided.
    void beginAnew()
    {
        caughtUp();
        m_flow->close();
        const Plan plan = m_scene->plan();
        const Repository opened = m_scene->repo.open();
        QTRY_VERIFY_WITH_TIMEOUT(!loadOpenSettlements(opened, {plan.branch, plan.tip, plan.onto}).empty(), patience);
        QVERIFY(forgetOpenSettlements(opened, {plan.branch, plan.tip, plan.onto}));
        begin();
    }
    void waitForProposals() { QTRY_VERIFY_WITH_TIMEOUT(isOffered(0, 0, "proposed"), patience); }
    Memory memory() const { return readMemory(m_scene->repo.open(), QDateTime::currentSecsSinceEpoch()); }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_flow.reset();
        m_session.reset();
        m_scene.reset();
    }

    void proposedIsNotDecided()
    {
        start(200);
        waitForProposals();
        QVERIFY(isOffered(0, 1, "proposed"));
        QVERIFY(isOffered(1, 0, "undecided")); // nothing is known of that file
        QVERIFY(bar()->isVisible());
        QVERIFY2(barWords().contains(QStringLiteral("doc/notes.txt")), qPrintable(barWords()));
        QVERIFY(button("takeOffer")->isEnabled());
        QCOMPARE(button("takeOffer")->accessibleDescription(), QStringLiteral("topic brings that\n"));
        // Seen, and no part of the text, nor of what counts as decided.
        QCOMPARE(choiceOf(0), Choice::Undecided);
        QVERIFY(!settledPaneText().contains(QStringLiteral("topic brings that")));
        QVERIFY(m_flow->settlements().empty());
        QCOMPARE(m_flow->run()->undecided(), std::size_t(3));
        // The panes stay side by side with the room that it takes.
        QCOMPARE(editor()->pane(Pane::Settled)->rowCount(), editor()->pane(Pane::NewBase)->rowCount());
        QVERIFY(editor()->pane(Pane::Settled)->rowCount() > 13);
    }

    // What is drawn is the offer's text.
    void isDrawn()
    {
        start(0);
        const auto drawn = [&](const char* text) {
            editor()->setOffers({HunkDecision{Choice::Typed, text}, std::nullopt});
            return editor()->pane(Pane::Settled)->viewport()->grab().toImage();
        };
        const QImage one = drawn("iiiiiiii\n");
        QVERIFY(drawn("MMMMMMMM\n") != one);
        QCOMPARE(drawn("iiiiiiii\n"), one);
    }

    // Many at once: the panes stay side by side, and the user where they were.
    void manyAtOnce()
    {
        ConflictText text;
        text.path = text.key.path = "a.txt";
        std::vector<std::optional<HunkDecision>> offers;
        for (int i = 0; i < 40; ++i) {
            const std::string number = std::to_string(i);
            text.between.push_back("between " + number + "\n");
            text.hunks.push_back({{2 * i + 1, 1}, {2 * i + 1, 1}, {2 * i + 1, 1}, "a\n", "n" + number + "\n", "c\n"});
            for (std::string* side : {&text.ancestor, &text.newBase, &text.commit})
                *side += text.between.back();
            text.ancestor += "a\n";
            text.newBase += "n" + number + "\n";
            text.commit += "c\n";
            offers.emplace_back(HunkDecision{Choice::Typed, "typed " + number + "\nin two\n"});
        }
        text.between.emplace_back("end\n");
        ConflictEditor all;
        all.resize(1000, 500);
        all.show();
        all.setConflict(text, {});
        all.setCurrentHunk(20);
        TextPane* middle = all.pane(Pane::Settled);
        const auto compare = [&](int rows) {
            for (const Pane pane : {Pane::NewBase, Pane::Settled, Pane::Commit})
                QCOMPARE(all.pane(pane)->rowCount(), rows);
            const PaneRow row = TextPane::rowOf(middle->textCursor().block());
            QCOMPARE(all.model().group(row.group).hunk, 20);
            QCOMPARE(all.currentHunk(), 20);
            QVERIFY(middle->viewport()->rect().contains(middle->cursorRect().center()));
        };
        compare(81);
        all.setOffers(offers);
        compare(161);
        QSignalSpy told(&all, &ConflictEditor::settled);
        std::vector<std::pair<int, HunkDecision>> taken;
        for (int i = 0; i < 40; ++i)
            taken.emplace_back(i, *offers[std::size_t(i)]);
        all.decide(taken);
        QCOMPARE(told.size(), 1);
        compare(121);
        QVERIFY(middle->toPlainText().contains(QStringLiteral("typed 39\nin two\nend")));
        all.setConflict(text, {}); // taken back
        compare(161);
    }

    void aKeyTakesIt()
    {
        start(200);
        waitForProposals();
        press(Qt::Key_5);
        QCOMPARE(choiceOf(0), Choice::YourCommit);
        QVERIFY(settledPaneText().contains(QStringLiteral("topic brings that")));
        QVERIFY(isOffered(0, 0, "your commit"));
        caughtUp();
        // The very value that choosing it gives.
        const FileSettlement taken = m_flow->settlements().files().begin()->second;
        QCOMPARE(m_flow->run()->undecided(), std::size_t(2));
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        QCOMPARE(choiceOf(0), Choice::Undecided);
        QVERIFY(!button("undo")->isEnabled());
        QTest::mouseClick(button("your-commit"), Qt::LeftButton);
        QCOMPARE(m_flow->settlements().files().begin()->second, taken);
        QTest::mouseClick(button("takeOffer"), Qt::LeftButton); // decided: nothing to take
        QVERIFY(!button("takeOffer")->isEnabled());
    }

    void allOfAFileOnceTheyWereLookedAt()
    {
        start(200);
        waitForProposals();
        QVERIFY(!button("takeAllOffers")->isEnabled());
        press(Qt::Key_6);
        QCOMPARE(choiceOf(0), Choice::Undecided);
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QCOMPARE(editor()->currentHunk(), 1);
        QVERIFY(button("takeAllOffers")->isEnabled());
        press(Qt::Key_6);
        QCOMPARE(choiceOf(0), Choice::YourCommit);
        QCOMPARE(choiceOf(1), Choice::YourCommit);
        caughtUp();
        QCOMPARE(m_flow->run()->undecided(), std::size_t(1)); // that of the other file
        // One step.
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        QCOMPARE(choiceOf(0), Choice::Undecided);
        QCOMPARE(choiceOf(1), Choice::Undecided);
    }

    void typingInItsPlaceIsTheUsersOwn()
    {
        start(200);
        waitForProposals();
        TextPane* middle = editor()->pane(Pane::Settled);
        middle->setFocus();
        QTest::keyClicks(middle, QStringLiteral("mine"));
        editor()->flush();
        QCOMPARE(editor()->model().decision(0), (HunkDecision{Choice::Typed, "mine\n"}));
        QVERIFY(!button("takeOffer")->isEnabled());
    }

    void settledBefore()
    {
        start(0);
        m_page->findChild<HunkList*>()->setCurrentItem(row(1, 0));
        QVERIFY(!bar()->isVisible());
        press(Qt::Key_3); // both, the new base's first
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(1), patience);
        beginAnew();
        QTRY_VERIFY_WITH_TIMEOUT(isOffered(1, 0, "settled before"), patience);
        QVERIFY(isOffered(0, 0, "undecided"));
        m_page->findChild<HunkList*>()->setCurrentItem(row(1, 0));
        QVERIFY(bar()->isVisible());
        QVERIFY2(barWords().contains(QStringLiteral("topic/x")) && barWords().contains(QStringLiteral("Bring notes")) &&
                     barWords().contains(QStringLiteral("just now")),
                 qPrintable(barWords()));
        QCOMPARE(choiceOf(0), Choice::Undecided);
        press(Qt::Key_5);
        QCOMPARE(choiceOf(0), Choice::NewBaseFirst);
    }

    void forgotten()
    {
        start(0);
        press(Qt::Key_1);
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(1), patience);
        beginAnew();
        QTRY_VERIFY_WITH_TIMEOUT(isOffered(0, 0, "settled before"), patience);
        QVERIFY(button("forgetOffer")->isVisible());
        press(Qt::Key_7);
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(0), patience);
        QVERIFY(isOffered(0, 0, "undecided"));
        QVERIFY(!bar()->isVisible());
        QVERIFY(m_flow->settlements().empty());
    }

    // What is taken back was no settlement; what was known before it holds again.
    void whatIsTakenBackIsNotRemembered()
    {
        start(0);
        press(Qt::Key_1);
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(1), patience);
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(0), patience);
        QTest::mouseClick(button("redo"), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(memory().size(), std::size_t(1), patience);
        beginAnew();
        QTRY_VERIFY_WITH_TIMEOUT(isOffered(0, 0, "settled before"), patience);
        const ConflictHunk hunk = editor()->model().text().hunks[0];
        const HunkSides sides{hunk.ancestorText, hunk.newBaseText, hunk.commitText};
        press(Qt::Key_2);
        QTRY_COMPARE_WITH_TIMEOUT(memory().recall(sides)->decision.choice, Choice::YourCommit, patience);
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(memory().recall(sides)->decision.choice, Choice::NewBase, patience);
    }
};

QTEST_MAIN(TestSettleOffers)
#include "test_settle_offers.moc"

// SPDX-License-Identifier: MIT
// The walkthrough from first step to last, by mouse and keyboard, with its example and with a dry run.
#include "app/support/text.h"
#include "app/walkthrough/walkthrough_page.h"
#include "app/walkthrough/walkthrough_scene.h"

#include <QPushButton>
#include <QtTest>

using namespace espalier;

class TestWalkthrough : public QObject {
    Q_OBJECT

    static QStringList texts(const WalkthroughPage& page)
    {
        QStringList all;
        for (const auto* label : page.findChildren<PlainLabel*>())
            all << label->fullText();
        return all;
    }

  private Q_SLOTS:
    void stepsByMouse()
    {
        WalkthroughPage page;
        page.show();
        QVERIFY(page.stepCount() >= 6);
        auto* next = page.findChild<QPushButton*>(QStringLiteral("next"));
        auto* back = page.findChild<QPushButton*>(QStringLiteral("back"));
        QVERIFY(!back->isEnabled());
        QStringList seen;
        QString everything;
        for (int step = 0; step < page.stepCount(); ++step) {
            QCOMPARE(page.step(), step);
            QVERIFY(!seen.contains(texts(page).join(u'\n')));
            seen << texts(page).join(u'\n');
            everything += seen.last();
            if (step + 1 < page.stepCount())
                QTest::mouseClick(next, Qt::LeftButton);
        }
        for (const char* word : {"base", "ID", "push", "overwrite check", "logbook"})
            QVERIFY2(everything.contains(QLatin1String(word), Qt::CaseInsensitive), word);
        QSignalSpy closed(&page, &WalkthroughPage::closed);
        QTest::mouseClick(next, Qt::LeftButton);
        QCOMPARE(closed.size(), 1);
    }

    // The fork has the old commits, with its branch at them, until the last step takes the branch away from them.
    void theForkKeepsTheOldCommitsUntilItIsPushedTo()
    {
        const std::vector<Scene> scenes = scenesOf(exampleStory());
        for (std::size_t step = 0; step < scenes.size(); ++step) {
            const bool pushed = step + 1 == scenes.size();
            QString labels;
            for (const SceneCommit& commit : scenes[step].commits)
                if (commit.place == Place::Fork) {
                    QCOMPARE(commit.faded, pushed);
                    labels += commit.label;
                }
            QVERIFY2(labels.isEmpty() == pushed, qPrintable(QString::number(step + 1)));
        }
    }

    void stepsByKeyboard()
    {
        WalkthroughPage page;
        page.show();
        QSignalSpy changed(&page, &WalkthroughPage::stepChanged);
        QTest::keyClick(&page, Qt::Key_Right);
        QCOMPARE(page.step(), 1);
        QTest::keyClick(&page, Qt::Key_Left);
        QCOMPARE(page.step(), 0);
        QTest::keyClick(&page, Qt::Key_Left);
        QCOMPARE(page.step(), 0);
        QTest::keyClick(&page, Qt::Key_End);
        QCOMPARE(page.step(), page.stepCount() - 1);
        QTest::keyClick(&page, Qt::Key_Home);
        QCOMPARE(page.step(), 0);
        QCOMPARE(changed.size(), 4);
        QSignalSpy closed(&page, &WalkthroughPage::closed);
        QTest::keyClick(&page, Qt::Key_Escape);
        QCOMPARE(closed.size(), 1);
    }

    void ownReplay()
    {
        DryRun run;
        run.plan.label = "topic/<b>x</b>";
        run.plan.ontoLabel = "upstream/main";
        for (int i = 0; i < 40; ++i) {
            ReplayedCommit commit;
            commit.id.bytes[0] = std::uint8_t(i + 1);
            commit.newId = Oid{};
            commit.newId->bytes[0] = std::uint8_t(i + 101);
            run.commits.push_back(commit);
            run.plan.commits.push_back({commit.id, Treatment::Carry, {}, {}});
        }
        run.clean = true;
        WalkthroughPage page;
        page.resize(900, 600);
        page.show();
        page.showRun(run);
        QCOMPARE(page.step(), 0);
        for (int step = 0; step < page.stepCount(); ++step) {
            page.setStep(step);
            QVERIFY(!page.grab().isNull());
        }
        page.setStep(1000);
        QCOMPARE(page.step(), page.stepCount() - 1);
        page.showRun(DryRun{});
        QCOMPARE(page.step(), 0);
        QVERIFY(!page.grab().isNull());
    }
};

QTEST_MAIN(TestWalkthrough)
#include "test_walkthrough.moc"

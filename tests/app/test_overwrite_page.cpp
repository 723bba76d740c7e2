// SPDX-License-Identifier: MIT
// What the overwrite check shows and asks for, by mouse and keyboard, with checks made by hand.
#include "app/history/diff_view.h"
#include "app/overwrite/overwrite_page.h"
#include "app/support/text.h"
#include "core/samples/samples.h"
#include "tests/support/remote_scene.h"

#include <QAccessible>
#include <QCheckBox>
#include <QPushButton>
#include <QSplitter>
#include <QToolButton>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 30000;

QTreeWidget* picture(const QWidget& page) { return page.findChild<QTreeWidget*>(QStringLiteral("pairs")); }

QString said(const QWidget& page)
{
    QStringList all;
    for (const auto* label : page.findChildren<PlainLabel*>())
        if (label->isVisible())
            all << label->fullText();
    return all.join(u'\n');
}

// Every kind of commit, in the order of the branch.
OverwriteCheck everyKind();

CheckedCommit commit(int number, const char* subject, const char* author)
{
    CheckedCommit made;
    made.id.bytes[0] = std::uint8_t(number);
    made.subject = subject;
    made.author = author;
    made.authorTime = 1772000000;
    return made;
}

OverwriteCheck checkOf(const char* branch, std::uint8_t there, std::uint8_t here)
{
    OverwriteCheck check;
    check.branch = branch;
    check.remote = "origin";
    check.remoteTip.bytes.fill(there);
    check.localTip.bytes.fill(here);
    return check;
}

OverwriteCheck forced()
{
    OverwriteCheck check = checkOf("topic/metric-heights", 0xab, 0xcd);
    check.pairs = {
        {commit(1, "Add a unit", "Mira Sol"), commit(2, "Add a unit", "Mira Sol"), true, true},
        {commit(3, "Convert <b>feet</b>", "Mira Sol"), commit(4, "Convert <b>feet</b>", "Mira Sol"), false, true}};
    check.removed = {commit(5, "Try something", "Mira Sol")};
    return check;
}

OverwriteCheck everyKind()
{
    OverwriteCheck check = forced();
    check.foreign = {commit(9, "Fix a typo", "Teo Brandt")};
    check.added = {commit(6, "Something new", "Mira Sol")};
    check.kept = {commit(7, "Long since there", "Mira Sol")};
    check.pairs[0].moved = true;
    for (const int number : {6, 9, 2, 4, 5, 7})
        check.order.push_back(commit(number, "", "").id);
    return check;
}

bool shows(const QWidget& page, const QString& text)
{
    for (const auto* tree : page.findChildren<QTreeWidget*>())
        if (!tree->findItems(text, Qt::MatchContains | Qt::MatchRecursive, 0).isEmpty() ||
            !tree->findItems(text, Qt::MatchContains | Qt::MatchRecursive, 1).isEmpty() ||
            !tree->findItems(text, Qt::MatchContains | Qt::MatchRecursive, 2).isEmpty() ||
            !tree->findItems(text, Qt::MatchContains | Qt::MatchRecursive, 3).isEmpty())
            return true;
    for (const auto* label : page.findChildren<PlainLabel*>())
        if (label->fullText().contains(text))
            return true;
    return false;
}

QPushButton* push(const QWidget& page) { return page.findChild<QPushButton*>(QStringLiteral("push")); }

} // namespace

class TestOverwritePage : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void replacesWhatItSays()
    {
        OverwritePage page(nullptr);
        page.show();
        page.showFor(forced());
        QCOMPARE(push(page)->text().remove(u'&'), QStringLiteral("Replace 3 commits on the fork"));
        QVERIFY(push(page)->isEnabled());
        QVERIFY(shows(page, QStringLiteral("Convert <b>feet</b>")));
        QVERIFY(shows(page, QStringLiteral("Try something")));
        QSignalSpy asked(&page, &OverwritePage::pushRequested);
        QTest::mouseClick(push(page), Qt::LeftButton);
        QCOMPARE(asked.size(), 1);
        const auto request = asked.front().front().value<PushRequest>();
        QCOMPARE(request.branch, std::string("topic/metric-heights"));
        QVERIFY(request.expect.has_value());
        QCOMPARE(*request.expect, forced().remoteTip);
        QVERIFY(!push(page)->isEnabled());
    }

    void foreignCommitsNeedASecondStep()
    {
        OverwriteCheck check = forced();
        check.foreign = {commit(9, "Fix a typo", "Teo Brandt")};
        OverwritePage page(nullptr);
        page.show();
        page.showFor(check);
        QVERIFY(!push(page)->isEnabled());
        QCOMPARE(push(page)->text().remove(u'&'), QStringLiteral("Replace 4 commits on the fork"));
        auto* understood = page.findChild<QCheckBox*>();
        QVERIFY(understood->isVisible());
        QVERIFY(understood->text().contains(QStringLiteral("1 commit")));
        QVERIFY(understood->text().contains(QStringLiteral("Teo Brandt")));
        QVERIFY(shows(page, QStringLiteral("Fix a typo")));
        understood->setFocus();
        QTest::keyClick(understood, Qt::Key_Space);
        QVERIFY(push(page)->isEnabled());
        QSignalSpy asked(&page, &OverwritePage::pushRequested);
        QTest::keyClick(push(page), Qt::Key_Space);
        QCOMPARE(asked.size(), 1);
        // Another check has to be agreed to anew.
        page.showFor(check);
        QVERIFY(!push(page)->isEnabled());
    }

    // What would be lost is said in the heading of its table, who wrote it and how to keep it, and not again below; the box
    // to tick is the answer to it.
    void theLossIsSaidOnce()
    {
        OverwriteCheck check = forced();
        check.foreign = {commit(9, "Fix a typo", "Teo Brandt")};
        check.cautions = {"1 commit of Teo Brandt would be lost. To keep it, carry it over"};
        OverwritePage page(nullptr);
        page.show();
        page.showFor(check);
        QCoreApplication::processEvents(); // a layout shows what it was given
        QStringList named, keeping;
        for (const auto* label : page.findChildren<PlainLabel*>()) {
            if (label->isVisible() && label->fullText().contains(QStringLiteral("Teo Brandt")))
                named << label->fullText();
            if (label->isVisible() && label->fullText().contains(QStringLiteral("To keep it")))
                keeping << label->fullText();
        }
        QCOMPARE(named, QStringList(QStringLiteral(
                            "Of others, without a counterpart, lost if overwritten: 1 commit by Teo Brandt")));
        QCOMPARE(keeping.size(), 1);
    }

    void plainPushNeedsNoLease()
    {
        OverwriteCheck check;
        check.branch = "topic/new";
        check.remote = "origin";
        check.fastForward = true;
        check.added = {commit(1, "One", "Mira Sol"), commit(2, "Two", "Mira Sol")};
        check.remoteTip.bytes.fill(1);
        OverwritePage page(nullptr);
        page.show();
        page.showFor(check);
        QVERIFY(push(page)->text().contains(QStringLiteral("2 commits")));
        QSignalSpy asked(&page, &OverwritePage::pushRequested);
        QTest::mouseClick(push(page), Qt::LeftButton);
        QVERIFY(!asked.front().front().value<PushRequest>().expect);
        check.upToDate = true;
        page.showFor(check);
        QVERIFY(!push(page)->isEnabled());
    }

    // Branches that moved together: each with its check, pushed in one step; what is not on the fork yet only when asked for.
    void severalInOneStep()
    {
        OverwriteCheck below = checkOf("topic/below", 0x12, 0x34);
        below.pairs = {{commit(6, "Lower part", "Mira Sol"), commit(7, "Lower part", "Mira Sol"), true, true}};
        below.foreign = {commit(9, "Fix a typo", "Teo Brandt")};
        OverwriteCheck fresh;
        fresh.branch = "topic/never-there";
        fresh.remote = "origin";
        fresh.fastForward = true;
        fresh.added = {commit(8, "New part", "Mira Sol")};
        OverwriteCheck elsewhere = fresh;
        elsewhere.branch = "topic/other-remote";
        elsewhere.remote = "second";
        OverwritePage page(nullptr);
        page.show();
        page.showFor(std::vector{forced(), below, fresh, elsewhere});
        const auto box = [&](const char* branch) {
            return page.findChild<QCheckBox*>(QStringLiteral("choose-") + QLatin1String(branch));
        };
        QVERIFY(box("topic/metric-heights")->isChecked() && box("topic/below")->isChecked());
        QVERIFY(!box("topic/never-there")->isChecked());
        QVERIFY(!box("topic/other-remote"));
        QVERIFY(shows(page, QStringLiteral("What goes to another remote is pushed by itself.")));
        QCOMPARE(push(page)->text().remove(u'&'), QStringLiteral("Replace 5 commits on the fork, 2 branches together"));
        // Somebody's commit on any of them is as loud as on one.
        QVERIFY(!push(page)->isEnabled());
        QCheckBox* understood = nullptr;
        for (auto* each : page.findChildren<QCheckBox*>())
            if (each->text().contains(QStringLiteral("Teo Brandt")))
                understood = each;
        QVERIFY(understood && understood->isVisible());
        QTest::keyClick(understood, Qt::Key_Space);
        QVERIFY(push(page)->isEnabled());
        // Another choice is to be agreed to anew.
        QTest::keyClick(box("topic/never-there"), Qt::Key_Space);
        QVERIFY(!push(page)->isEnabled());
        QTest::keyClick(understood, Qt::Key_Space);
        QSignalSpy asked(&page, &OverwritePage::pushRequested);
        QTest::mouseClick(push(page), Qt::LeftButton);
        QCOMPARE(asked.size(), 3);
        QCOMPARE(asked[0].front().value<PushRequest>().expect, std::optional(forced().remoteTip));
        QCOMPARE(asked[1].front().value<PushRequest>().expect, std::optional(below.remoteTip));
        QVERIFY(!asked[2].front().value<PushRequest>().expect);
        // Without it nothing is lost, and nothing is asked.
        page.showFor(std::vector{forced(), below});
        QTest::keyClick(box("topic/below"), Qt::Key_Space);
        QVERIFY(push(page)->isEnabled());
        QCOMPARE(push(page)->text().remove(u'&'), QStringLiteral("Replace 3 commits on the fork"));
        Pushed one;
        one.branch = "topic/metric-heights";
        one.forced = true;
        page.showPushed(std::vector{one, one});
        QVERIFY(page.findChild<NoticeBar*>()->line().contains(QStringLiteral("2 branches")));
        QVERIFY(!push(page)->isEnabled());
    }

    // Each commit has its row, in the order of the branch, with its state in words; what is lost is chosen and in view.
    void thePictureTellsWhatBecomesOfEach()
    {
        OverwritePage page(nullptr);
        page.resize(900, 600);
        page.show();
        page.showFor(everyKind());
        const QTreeWidget* rows = picture(page);
        QVERIFY(rows);
        QStringList read;
        QAccessibleInterface* list = QAccessible::queryAccessibleInterface(picture(page));
        QVERIFY(list && list->tableInterface());
        QVERIFY(!list->text(QAccessible::Name).isEmpty());
        for (int at = 0; at < rows->topLevelItemCount(); ++at)
            read << list->tableInterface()->cellAt(at, 0)->text(QAccessible::Name);
        const QStringList wanted{"New: Something new, 0600000 in the clone",
                                 "LOST if overwritten: Fix a typo, 0900000 on the fork, written by Teo Brandt",
                                 "Same change, moved: Add a unit, 0100000 on the fork, 0200000 in the clone",
                                 "Edited: Convert <b>feet</b>, 0300000 on the fork, 0400000 in the clone",
                                 "Only on the fork: Try something, 0500000 on the fork",
                                 "Stays: Long since there, 0700000 on the fork and in the clone"};
        QCOMPARE(read.join(u'\n'), wanted.join(u'\n'));
        QCOMPARE(rows->currentItem(), rows->topLevelItem(1));
        QVERIFY(rows->viewport()->rect().contains(rows->visualItemRect(rows->currentItem())));
        QVERIFY2(
            said(page).contains(QStringLiteral("1 LOST if overwritten, 1 only on the fork, 1 edited, 1 same change")),
            qPrintable(said(page)));
        // Without one that is lost, what a reviewer sees something new in.
        page.showFor(forced());
        QCOMPARE(rows->currentItem()->text(0), QStringLiteral("0500000"));
        OverwriteCheck pairs = forced();
        pairs.removed.clear();
        page.showFor(pairs);
        QCOMPARE(rows->currentItem()->text(0), QStringLiteral("0300000 \u2192 0400000"));
    }

    // A commit that is lost looks other than one that is replaced, also to who sees no colours.
    void whatIsLostHasAShapeOfItsOwn()
    {
        OverwritePage page(nullptr);
        page.resize(900, 600);
        page.show();
        // How much is drawn where the clone's commit would stand; no id is there.
        const auto drawn = [&](const OverwriteCheck& check) {
            page.showFor(check);
            QTreeWidget* rows = picture(page);
            rows->setCurrentItem(nullptr);
            QCoreApplication::processEvents();
            const QRect row = rows->visualItemRect(rows->topLevelItem(0));
            const int width = rows->columnWidth(0);
            const QRect there(width * 6 / 10, row.top() + 2, width * 4 / 10, row.height() - 4);
            const QImage image = rows->viewport()->grab(there).toImage().convertToFormat(QImage::Format_Grayscale8);
            const int back = qGray(image.pixel(image.width() - 2, 1));
            int count = 0;
            for (int y = 0; y < image.height(); ++y)
                for (int x = 0; x < image.width(); ++x)
                    count += std::abs(qGray(image.pixel(x, y)) - back) > 60;
            return count;
        };
        OverwriteCheck lost = checkOf("topic/x", 1, 2), own = lost;
        lost.foreign = {commit(9, "Fix a typo", "Teo Brandt")};
        own.removed = {commit(9, "Fix a typo", "Teo Brandt")};
        const int cross = drawn(lost), bar = drawn(own);
        QVERIFY2(bar > 0 && cross > 2 * bar, qPrintable(QStringLiteral("%1, %2").arg(cross).arg(bar)));
    }

    void byKeyboard()
    {
        OverwritePage page(nullptr);
        page.resize(900, 600);
        page.show();
        QVERIFY(QTest::qWaitForWindowActive(&page));
        page.showFor(everyKind());
        QTreeWidget* rows = picture(page);
        rows->setFocus();
        QTest::keyClick(rows, Qt::Key_Home);
        QVERIFY2(said(page).contains(QStringLiteral("Comes to the fork for the first time")), qPrintable(said(page)));
        QTest::keyClick(rows, Qt::Key_Down);
        QTest::keyClick(rows, Qt::Key_Down);
        QTest::keyClick(rows, Qt::Key_Down);
        QCOMPARE(rows->currentItem()->text(2), QStringLiteral("Convert <b>feet</b>"));
        QVERIFY2(said(page).contains(QStringLiteral("What a reviewer will see as new")), qPrintable(said(page)));
        QTest::keyClick(rows, Qt::Key_Up);
        QVERIFY(said(page).contains(QStringLiteral("a reviewer sees nothing new in it")));
        QTest::keyClick(rows, Qt::Key_Return);
        QVERIFY(page.findChild<DiffView*>(QStringLiteral("difference"))->hasFocus());
        // To the whole branch and back, by the letters.
        QTest::keyClick(&page, Qt::Key_W, Qt::AltModifier);
        QTRY_VERIFY(page.findChild<DiffView*>(QStringLiteral("wholeDifference"))->isVisible());
        QTest::keyClick(&page, Qt::Key_S, Qt::AltModifier);
        QTRY_VERIFY(page.findChild<DiffView*>(QStringLiteral("difference"))->isVisible());
        QSignalSpy asked(&page, &OverwritePage::commitChosen);
        QTest::keyClick(&page, Qt::Key_Y, Qt::AltModifier);
        QTRY_COMPARE(asked.size(), 1);
        QCOMPARE(asked.front().front().value<Oid>(), commit(2, "", "").id);
        for (const auto* button : page.findChildren<QAbstractButton*>())
            QVERIFY(!button->text().isEmpty() || !button->accessibleName().isEmpty());
    }

    // Side by side, or one above the other where it is narrow and tall; everything has room in a small window.
    void usesTheRoom()
    {
        OverwritePage page(nullptr);
        page.show();
        page.showFor(everyKind());
        const auto* parts = page.findChild<QSplitter*>(QStringLiteral("parts"));
        for (const QSize size : {QSize(780, 430), /* of a window of 800 x 560 */ QSize(1600, 1000), QSize(560, 900)}) {
            page.resize(size);
            QCoreApplication::processEvents();
            QCOMPARE(page.size(), size);
            QCOMPARE(parts->orientation(), size.width() > size.height() ? Qt::Horizontal : Qt::Vertical);
            QVERIFY(picture(page)->viewport()->height() > 3 * page.fontMetrics().height());
            QVERIFY(picture(page)->columnWidth(2) > page.fontMetrics().averageCharWidth() * 8);
            const QRect bottom = push(page)->rect().translated(push(page)->mapTo(&page, QPoint()));
            QVERIFY(page.rect().contains(bottom));
        }
    }

    // From a real check: the pairs' differences, the whole branch's, and what else stands on the old tip.
    void looksAround()
    {
        QTemporaryDir folder;
        const auto built = buildSample("someone-pushed", folder.filePath(QStringLiteral("s")).toStdString());
        QVERIFY(built);
        const QString clone = QString::fromStdString(built->clone.string());
        QVERIFY(test::runProgram("git", {"branch", "topic/above", "origin/topic/spring-warning"}, clone).exitCode == 0);
        Session session;
        QSignalSpy drift(&session, &Session::driftChanged);
        session.open(clone);
        QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), patience);
        OverwritePage page(&session);
        page.resize(1000, 700);
        page.show();
        bool shown = false;
        session.checkOverwrite({"topic/spring-warning"}, [&](const Result<std::vector<OverwriteCheck>>& checks) {
            QVERIFY2(checks, checks ? "" : checks.error().line().c_str());
            page.showFor(*checks);
            shown = true;
        });
        QTRY_VERIFY_WITH_TIMEOUT(shown, patience);
        QTRY_VERIFY2_WITH_TIMEOUT(
            said(page).contains(QStringLiteral("On the whole 1 file differs, 0 lines added, 2 deleted")),
            qPrintable(said(page)), patience);
        QTRY_VERIFY2_WITH_TIMEOUT(said(page).contains(QStringLiteral("1 other ref in the clone also has old commits")),
                                  qPrintable(said(page)), patience);
        QTRY_VERIFY_WITH_TIMEOUT(!page.findChild<DiffView*>(QStringLiteral("difference"))->toPlainText().isEmpty(),
                                 patience);
        page.findChild<QToolButton*>(QStringLiteral("part-2"))->click();
        const auto* others = page.findChild<QTreeWidget*>(QStringLiteral("standing"));
        QCOMPARE(others->topLevelItemCount(), 1);
        QVERIFY2(others->topLevelItem(0)->text(0).startsWith(
                     QStringLiteral("Branch topic/above of the clone has 2 of the old")),
                 qPrintable(others->topLevelItem(0)->text(0)));
        page.findChild<QToolButton*>(QStringLiteral("part-0"))->click();
        QTest::keyClick(picture(page), Qt::Key_End);
        QTRY_VERIFY_WITH_TIMEOUT(page.findChild<DiffView*>(QStringLiteral("difference"))
                                     ->toPlainText()
                                     .contains(QStringLiteral("Same change")),
                                 patience);
    }

    // Three hundred commits: nothing of it is done while the window waits, and the keyboard goes through all of them.
    void aLargeBranch()
    {
        test::RemoteScene scene;
        test::BulkHistory bulk;
        constexpr int count = 300;
        int before = bulk.commit("topic/long", {}, {{"start.txt", "start\n"}}, "Start"), now = before;
        for (int at = 0; at < count; ++at)
            before =
                bulk.commit("topic/long", {before}, {{"f" + std::to_string(at), "x\n"}}, "Step " + std::to_string(at));
        now = bulk.commit("topic/now", {now}, {{"other.txt", "x\n"}}, "Elsewhere");
        for (int at = 0; at < count; ++at)
            now = bulk.commit("topic/now", {now}, {{"f" + std::to_string(at), at % 3 ? "x\n" : "y\n"}},
                              "Step " + std::to_string(at));
        const auto ids = bulk.import(scene.repo);
        scene.repo.git({"push", "--quiet", scene.fork, "topic/long"});
        scene.repo.git({"update-ref", "refs/heads/topic/long", QString::fromStdString(ids[std::size_t(now)])});
        Session session;
        QSignalSpy drift(&session, &Session::driftChanged);
        session.open(scene.repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(!drift.isEmpty(), patience);
        OverwritePage page(&session);
        page.resize(1000, 700);
        page.show();
        bool shown = false;
        session.checkOverwrite({"topic/long"}, [&](const Result<std::vector<OverwriteCheck>>& checks) {
            QVERIFY2(checks, checks ? "" : checks.error().line().c_str());
            page.showFor(*checks);
            shown = true;
            // What is read of the branch has not been read within this call.
            QVERIFY(!said(page).contains(QStringLiteral("On the whole")));
        });
        QVERIFY(!shown);
        QTRY_VERIFY_WITH_TIMEOUT(shown, patience);
        QTRY_VERIFY_WITH_TIMEOUT(said(page).contains(QStringLiteral("On the whole")), patience);
        QTreeWidget* rows = picture(page);
        QCOMPARE(rows->topLevelItemCount(), count + 1);
        QCOMPARE(rows->currentItem()->text(1), QStringLiteral("edited"));
        rows->setFocus();
        QTest::keyClick(rows, Qt::Key_Home);
        // Whoever holds the key down does not wait for what is read of each.
        for (int at = 0; at < count; ++at)
            QTest::keyClick(rows, Qt::Key_Down);
        QCOMPARE(rows->indexOfTopLevelItem(rows->currentItem()), count);
        QTest::keyClick(rows, Qt::Key_Up);
        QTRY_VERIFY_WITH_TIMEOUT(page.findChild<DiffView*>(QStringLiteral("difference"))
                                     ->toPlainText()
                                     .contains(rows->currentItem()->text(1) == QStringLiteral("edited")
                                                   ? QStringLiteral("+y")
                                                   : QStringLiteral("Same change")),
                                 patience);
    }

    void saysWhatBecameOfThePush()
    {
        OverwritePage page(nullptr);
        page.show();
        QVERIFY(QTest::qWaitForWindowActive(&page));
        page.showFor(forced());
        page.showRefused(QStringLiteral("The fork's branch has moved since the check."));
        const auto* notice = page.findChild<NoticeBar*>();
        QVERIFY(notice->line().contains(QStringLiteral("moved")));
        QVERIFY(!push(page)->isEnabled());
        QVERIFY(page.findChild<QPushButton*>(QStringLiteral("checkAgain"))->hasFocus());
        page.showFor(forced());
        QVERIFY(!notice->isVisible());
        Pushed pushed;
        pushed.branch = "topic/metric-heights";
        pushed.old = forced().remoteTip;
        pushed.now = forced().localTip;
        pushed.forced = true;
        page.showPushed(pushed);
        QVERIFY(notice->line().contains(QStringLiteral("abababa")) &&
                notice->line().contains(QStringLiteral("cdcdcdc")));
        QVERIFY(!push(page)->isEnabled());
        QSignalSpy closed(&page, &OverwritePage::closed);
        QTest::keyClick(page.findChild<QPushButton*>(QStringLiteral("close")), Qt::Key_Space);
        QCOMPARE(closed.size(), 1);
    }
};

QTEST_MAIN(TestOverwritePage)
#include "test_overwrite_page.moc"

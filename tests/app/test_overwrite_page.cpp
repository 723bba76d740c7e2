// SPDX-License-Identifier: MIT
// What the overwrite check shows and asks for, by mouse and keyboard, with checks made by hand.
#include "app/overwrite/overwrite_page.h"
#include "app/support/text.h"

#include <QCheckBox>
#include <QPushButton>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;

namespace {

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

// SPDX-License-Identifier: MIT
// The logbook page on a repository whose branch is moved and taken back.
#include "app/logbook/logbook_page.h"
#include "app/support/text.h"
#include "core/keep/apply.h"
#include "core/samples/samples.h"
#include "tests/support/remote_scene.h"

#include <QPushButton>
#include <QTreeWidget>
#include <QtTest>

using namespace espalier;

namespace {
constexpr int patience = 20000;
}

class TestLogbookPage : public QObject {
    Q_OBJECT

    static QTreeWidget* entries(const QWidget& page) { return page.findChild<QTreeWidget*>(QStringLiteral("entries")); }
    static QPushButton* button(const QWidget& page, const char* name)
    {
        return page.findChild<QPushButton*>(QLatin1String(name));
    }

  private Q_SLOTS:
    void emptyAndFilled()
    {
        LogbookPage page(nullptr);
        page.show();
        page.showEntries({});
        QVERIFY(!button(page, "takeBack")->isEnabled());
        LogbookEntry entry;
        entry.id = "20261125-104205-1";
        entry.state = EntryState::TakenBack;
        entry.title = "Replay <i>topic/x</i> onto upstream/main";
        entry.when = QDateTime::currentSecsSinceEpoch() - 3600;
        RefMove move{"refs/heads/topic/x", {}, {}};
        move.old.bytes.fill(1);
        move.now.bytes.fill(2);
        entry.moves = {move};
        page.showEntries({entry}, {QStringLiteral("One entry cannot be read")});
        QCOMPARE(entries(page)->topLevelItemCount(), 1);
        bool shown = false;
        for (int i = 0; i < entries(page)->columnCount(); ++i)
            shown = shown || entries(page)->topLevelItem(0)->text(i).contains(QStringLiteral("<i>topic/x</i>"));
        QVERIFY(shown);
        QVERIFY(!button(page, "takeBack")->isEnabled()); // taken back already
        QCOMPARE(page.findChild<NoticeBar*>()->line(), QStringLiteral("One entry cannot be read"));
        QSignalSpy closed(&page, &LogbookPage::closed);
        QTest::keyClick(button(page, "close"), Qt::Key_Space);
        QCOMPARE(closed.size(), 1);
    }

    void takesBackAndLetsGo()
    {
        QTemporaryDir folder;
        const auto built = buildSample("same-lines", folder.filePath(QStringLiteral("sample")).toStdString());
        QVERIFY(built);
        auto repository = Repository::open(built->clone);
        const std::string branch = "refs/heads/topic/moon-phase";
        const Oid before = *repository->resolve(branch);
        QVERIFY(deleteBranch(*repository, "topic/moon-phase"));
        QVERIFY(!repository->resolve(branch));
        Session session;
        session.open(QString::fromStdString(built->clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(session.isOpen(), patience);
        LogbookPage page(&session);
        page.show();
        QTRY_VERIFY_WITH_TIMEOUT(entries(page)->topLevelItemCount() > 0, patience);
        QTRY_VERIFY_WITH_TIMEOUT(button(page, "takeBack")->isEnabled(), patience);
        QTest::mouseClick(button(page, "takeBack"), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(repository->resolve(branch).has_value(), patience);
        QCOMPARE(*repository->resolve(branch), before);
        QTRY_COMPARE_WITH_TIMEOUT(entries(page)->topLevelItemCount(), 2, patience);
        // Letting go takes two steps, by keyboard.
        entries(page)->setCurrentItem(entries(page)->topLevelItem(1));
        button(page, "letGo")->setFocus();
        QTest::keyClick(button(page, "letGo"), Qt::Key_Space);
        QCOMPARE(readLogbook(*repository)->size(), std::size_t(2));
        QTest::keyClick(button(page, "letGo"), Qt::Key_Space);
        QTRY_COMPARE_WITH_TIMEOUT(readLogbook(*repository)->size(), std::size_t(1), patience);
        QTRY_COMPARE_WITH_TIMEOUT(entries(page)->topLevelItemCount(), 1, patience);
    }

    // The branch moved since: refused, then what it would lose is named, and taken back by key; the lost tip is kept.
    void takesBackEvenSo()
    {
        test::RemoteScene scene;
        auto clone = scene.repo.open();
        QVERIFY(deleteBranch(clone, "topic/x"));
        const std::string old = readLogbook(clone)->front().moves.front().old.hex();
        const std::string own =
            scene.repo.commitFiles({{"own.txt", "own\n"}}, "Written <b>since</b>", {scene.main}, "topic/x");
        Session session;
        session.open(scene.repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(session.isOpen(), patience);
        LogbookPage page(&session);
        page.show();
        QTRY_VERIFY_WITH_TIMEOUT(button(page, "takeBack")->isEnabled(), patience);
        QTest::mouseClick(button(page, "takeBack"), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(button(page, "takeBackEvenSo"), patience);
        const auto* notice = page.findChild<NoticeBar*>();
        QVERIFY2(notice->line().contains(QStringLiteral("Written <b>since</b>")), qPrintable(notice->line()));
        QCOMPARE(scene.repo.git({QStringLiteral("rev-parse"), QStringLiteral("topic/x")}), own); // not yet
        // It moves once more: what was agreed to is not what would be lost now.
        const std::string more = scene.repo.commitFiles({{"own.txt", "more\n"}}, "And more", {own}, "topic/x");
        QTest::keyClick(button(page, "takeBackEvenSo"), Qt::Key_Space);
        QTRY_VERIFY_WITH_TIMEOUT(notice->line().contains(QStringLiteral("And more")), patience);
        QCOMPARE(scene.repo.git({QStringLiteral("rev-parse"), QStringLiteral("topic/x")}), more);
        QTest::keyClick(button(page, "takeBackEvenSo"), Qt::Key_Space);
        QTRY_COMPARE_WITH_TIMEOUT(scene.repo.git({QStringLiteral("rev-parse"), QStringLiteral("topic/x")}), old,
                                  patience);
        QTRY_VERIFY_WITH_TIMEOUT(!session.isWriting(), patience);
        const auto entry = readLogbook(clone)->front();
        QCOMPARE(entry.moves.front().old.hex(), more);
        QCOMPARE(scene.repo.git({QStringLiteral("rev-parse"), QString::fromStdString(keptRef(entry.id, 0))}), more);
    }

    void takesAPushBackEvenSo()
    {
        test::RemoteScene scene;
        auto clone = scene.repo.open();
        const std::string old = scene.forkAt(QStringLiteral("refs/heads/topic/x"));
        scene.replayTopic();
        PushRequest request{"topic/x", "", Oid::parse(old)};
        QVERIFY(push(clone, request));
        const std::string strangers = scene.strangerPushes();
        Session session;
        session.open(scene.repo.path());
        QTRY_VERIFY_WITH_TIMEOUT(session.isOpen(), patience);
        LogbookPage page(&session);
        page.show();
        QTRY_VERIFY_WITH_TIMEOUT(button(page, "takeBack")->isEnabled(), patience);
        QTest::mouseClick(button(page, "takeBack"), Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(button(page, "takeBackEvenSo"), patience);
        const QString line = page.findChild<NoticeBar*>()->line();
        QVERIFY2(line.contains(QString::fromStdString(strangers.substr(0, 7))), qPrintable(line));
        QCOMPARE(scene.forkAt(QStringLiteral("refs/heads/topic/x")), strangers);
        QTest::mouseClick(button(page, "takeBackEvenSo"), Qt::LeftButton);
        QTRY_COMPARE_WITH_TIMEOUT(scene.forkAt(QStringLiteral("refs/heads/topic/x")), old, patience);
        QTRY_VERIFY_WITH_TIMEOUT(!session.isWriting(), patience);
        const auto entry = readLogbook(clone)->front();
        QCOMPARE(scene.repo.git({QStringLiteral("rev-parse"), QString::fromStdString(keptRef(entry.id, 0))}),
                 strangers);
        scene.checkSound();
    }
};

QTEST_MAIN(TestLogbookPage)
#include "test_logbook_page.moc"

// SPDX-License-Identifier: MIT
//
// The logbook by command, where it is about pushes: restored behind an overwrite check, let go by age, who and when, the space that
// is held. The reference is git itself.
#include "core/keep/open_entries.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"

#include <QDateTime>
#include <QFile>
#include <QJsonArray>
#include <QJsonDocument>
#include <QJsonObject>
#include <QRegularExpression>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return Oid::parse(hex).value(); }
QString text(const std::string& id) { return QString::fromStdString(id); }

GitRun espalierRun(const RemoteScene& scene, const QStringList& arguments)
{
    return runProgram(ESPALIER_PROGRAM, arguments, scene.repo.path());
}

// Moves the time of an entry on disk, as if it had been made so many days earlier.
void backDate(const RemoteScene& scene, const LogbookEntry& entry, int days)
{
    QFile stored(text((logbookFolder(scene.repo.open()) / (entry.id + ".json")).string()));
    if (!stored.open(QIODevice::ReadWrite))
        QTest::qFail("the entry is not there", __FILE__, __LINE__);
    QByteArray json = stored.readAll();
    json.replace(QByteArray::number(qlonglong(entry.when)), QByteArray::number(qlonglong(entry.when) - days * 86400LL));
    stored.seek(0);
    stored.write(json);
    stored.resize(json.size());
}

} // namespace

class TestRestorePush : public QObject {
    Q_OBJECT

    static QString keptRefsOf(const RemoteScene& scene, const std::string& entry)
    {
        return text(scene.repo.git({"for-each-ref", "refs/espalier/kept/" + text(entry)}));
    }

  private Q_SLOTS:
    void aStrangerPushedSince()
    {
        RemoteScene scene;
        const QString clone = scene.repo.path();
        scene.replayTopic();
        const GitRun pushed =
            espalierRun(scene, {"push", clone, "--branch", "topic/x", "--expect", text(scene.topic[1]), "--json"});
        QVERIFY2(pushed.exitCode == 0, pushed.err.constData());
        const QString entry = QJsonDocument::fromJson(pushed.out)["entry"].toString();
        const std::string strangers = scene.strangerPushes();

        const GitRun asked = espalierRun(scene, {"restore", clone, entry});
        QCOMPARE(asked.exitCode, 1);
        QVERIFY2(asked.err.contains("Somebody's work (Oda Vik)") && asked.err.contains(strangers.substr(0, 7).c_str()),
                 asked.err.constData());
        QVERIFY2(asked.err.contains(("--expect " + strangers).c_str()), asked.err.constData());
        QCOMPARE(scene.forkAt("topic/x"), strangers);

        for (const std::string& other : {scene.replayed[1], scene.topic[1], scene.main}) {
            const GitRun refused = espalierRun(scene, {"restore", clone, entry, "--expect", text(other)});
            QCOMPARE(refused.exitCode, 1);
            QVERIFY2(refused.err.contains("moved since it was looked at") && refused.err.count('\n') == 1,
                     refused.err.constData());
            QCOMPARE(scene.forkAt("topic/x"), strangers);
        }
        const GitRun noId = espalierRun(scene, {"restore", clone, entry, "--expect", "topic/x"});
        QCOMPARE(noId.exitCode, 2);
        QCOMPARE(scene.forkAt("topic/x"), strangers);

        const GitRun done = espalierRun(scene, {"restore", clone, entry, "--expect", text(strangers), "--json"});
        QVERIFY2(done.exitCode == 0, done.err.constData());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        const QString second = QJsonDocument::fromJson(done.out)["entry"].toString();
        QCOMPARE(scene.repo.git({"rev-parse", text(keptRef(second.toStdString(), 0))}), strangers);
        scene.gitIn(scene.fork, {"reflog", "expire", "--expire=now", "--all"});
        scene.gitIn(scene.fork, {"gc", "--quiet", "--prune=now"});
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"gc", "--quiet", "--prune=now"});
        QVERIFY(espalierRun(scene, {"restore", clone, second}).exitCode == 0);
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        scene.checkSound();
    }

    // Exactly what is older goes, with its kept refs; what is still open stays, however old.
    void letGoByAge()
    {
        RemoteScene scene;
        const Repository clone = scene.repo.open();
        scene.replayTopic();
        const auto older = push(clone, {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY(older);
        const auto younger = restorePush(clone, older->entry.id);
        QVERIFY(younger);
        LogbookEntry entry;
        entry.kind = EntryKind::Push;
        entry.title = "Push topic/x to origin";
        entry.remote = "origin";
        entry.moves = {{"refs/heads/topic/x", oid(scene.topic[0]), oid(scene.replayed[1])}};
        const LogbookEntry open = beginEntry(clone, entry).value();
        backDate(scene, older->entry, 31);
        backDate(scene, younger->entry, 29);
        backDate(scene, open, 400);
        const GitRun gone = espalierRun(scene, {"logbook", scene.repo.path(), "--expire", "30d", "--json"});
        QVERIFY2(gone.exitCode == 0, gone.err.constData());
        QCOMPARE(QJsonDocument::fromJson(gone.out)["letGo"].toInt(), 1);
        QVERIFY(!findEntry(clone, older->entry.id));
        QVERIFY(findEntry(clone, younger->entry.id));
        QCOMPARE(findEntry(clone, open.id)->state, EntryState::Begun);
        QCOMPARE(keptRefsOf(scene, older->entry.id), QString());
        QVERIFY(keptRefsOf(scene, younger->entry.id).startsWith(text(scene.replayed[1])));
        QVERIFY(keptRefsOf(scene, open.id).startsWith(text(scene.topic[0])));
        const GitRun again = espalierRun(scene, {"logbook", scene.repo.path(), "--expire", "30d", "--json"});
        QCOMPARE(QJsonDocument::fromJson(again.out)["letGo"].toInt(), 0);
        QCOMPARE(espalierRun(scene, {"logbook", scene.repo.path(), "--expire", "soon"}).exitCode, 2);
    }

    void whoAndWhen()
    {
        RemoteScene scene;
        scene.replayTopic();
        const qint64 before = QDateTime::currentSecsSinceEpoch();
        QCOMPARE(
            espalierRun(scene, {"push", scene.repo.path(), "--branch", "topic/x", "--expect", text(scene.topic[1])})
                .exitCode,
            0);
        const qint64 after = QDateTime::currentSecsSinceEpoch();
        const GitRun told = espalierRun(scene, {"logbook", scene.repo.path(), "--json"});
        const QJsonArray rows = QJsonDocument::fromJson(told.out).array();
        QCOMPARE(rows.size(), 1);
        const QJsonObject row = rows[0].toObject();
        QCOMPARE(row["kind"].toString(), "push");
        QCOMPARE(row["state"].toString(), "done");
        const qint64 when = row["when"].toInteger();
        QVERIFY2(when >= before && when <= after, qPrintable(QString::number(when)));
        // The reference: whom git names, without the time behind.
        const std::string who = scene.repo.git({"var", "GIT_COMMITTER_IDENT"});
        QCOMPARE(row["who"].toString().toStdString(), who.substr(0, who.find('>') + 1));
        const QJsonObject ref = row["refs"].toArray()[0].toObject();
        QCOMPARE(ref["name"].toString(), "refs/heads/topic/x");
        QCOMPARE(ref["old"].toString().toStdString(), scene.topic[1]);
        QCOMPARE(ref["new"].toString().toStdString(), scene.replayed[1]);
    }

    // A number, which grows by what is kept, and shrinks when it is let go.
    void theSpaceThatIsHeld()
    {
        RemoteScene scene;
        const Repository clone = scene.repo.open();
        const auto held = [&] {
            const GitRun told = espalierRun(scene, {"logbook", scene.repo.path(), "--space"});
            const auto number = QRegularExpression("hold (\\d+) bytes?").match(QString::fromUtf8(told.out));
            return number.hasMatch() ? number.captured(1).toLongLong() : -1;
        };
        QCOMPARE(held(), 0);
        // What nothing compresses.
        std::string noise;
        for (unsigned i = 0, state = 1; i < 40'000; ++i)
            noise += char('!' + ((state = state * 1103515245u + 12345u) >> 16) % 90);
        const std::string big = scene.repo.commitFiles({{"noise", noise}}, "Much", {scene.topic[1]}, "topic/x");
        QVERIFY(push(clone, {"topic/x", "origin", std::nullopt}));
        const qint64 little = held();
        scene.replayTopic();
        const auto pushed = push(clone, {"topic/x", "origin", oid(big)});
        QVERIFY(pushed);
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        const qint64 much = held();
        QVERIFY2(little >= 0 && little < 20'000 && much > little + 20'000,
                 qPrintable(QStringLiteral("%1, then %2").arg(little).arg(much)));
        QVERIFY(forgetEntry(clone, pushed->entry.id));
        QVERIFY(held() < 20'000);
    }
};

QTEST_GUILESS_MAIN(TestRestorePush)
#include "test_restore_push.moc"

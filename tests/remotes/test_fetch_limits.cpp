// SPDX-License-Identifier: MIT
//
// What a fetch may write and delete, whatever the refspec says, what disappears, and whether that comes back.
#include "core/keep/apply.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string refAt(const TempRepository& repo, const QString& name)
{
    const GitRun run = repo.tryGit({"rev-parse", "--verify", "--quiet", name});
    return run.exitCode == 0 ? run.out.trimmed().toStdString() : std::string();
}

std::string oneLine(const std::string& text) { return QString::fromStdString(text).trimmed().toStdString(); }

// A commit on top of `parent` that git fsck has an error for: its times have no zone.
std::string badCommit(const RemoteScene& scene, const QString& where, const std::string& parent)
{
    const std::string tree = oneLine(scene.gitIn(where, {"rev-parse", QString::fromStdString(parent + "^{tree}")}));
    const QString file = scene.repo.outside() + "/bad-commit";
    scene.writeScript(file, QByteArray::fromStdString("tree " + tree + "\nparent " + parent +
                                                      "\nauthor A <a@example.org> 1700000000\n"
                                                      "committer A <a@example.org> 1700000000\n\nNo zone\n"));
    return oneLine(scene.gitIn(where, {"hash-object", "-t", "commit", "-w", "--literally", file}));
}

} // namespace

class TestFetchLimits : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    // The fork's refspec points at the clone's own branches; the topic is checked out and nowhere else.
    void ownBranchesAreNeverTouched_data()
    {
        QTest::addColumn<bool>("prune");
        QTest::newRow("not pruning") << false;
        QTest::newRow("pruning") << true;
    }
    void ownBranchesAreNeverTouched()
    {
        QFETCH(bool, prune);
        RemoteScene scene;
        scene.repo.git({"config", "remote.origin.fetch", "+refs/heads/*:refs/heads/*"});
        if (prune)
            scene.repo.git({"config", "remote.origin.prune", "true"});
        scene.repo.git({"checkout", "--quiet", "-b", "topic/unpushed"});
        scene.repo.git({"commit", "--quiet", "--allow-empty", "-m", "Mine alone"});
        scene.gitIn(scene.fork, {"update-ref", "refs/heads/topic/x", QString::fromStdString(scene.base)});
        const std::string before = scene.repo.git({"for-each-ref", "refs/heads"});
        const auto report = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(scene.repo.git({"for-each-ref", "refs/heads"}), before);
        QVERIFY2(report->line().contains("remote.origin.fetch"), report->line().c_str());
        QVERIFY2(bringUpToDate(scene.repo.open()), "update");
        QVERIFY(!refAt(scene.repo, "refs/heads/topic/unpushed").empty());
        scene.checkSound();
    }

    // A mirror's refspec owns every ref: what the logbook keeps, the worktree's branch and notes all the same stay.
    void aMirrorKeepsWhatIsKept()
    {
        RemoteScene scene;
        const auto deleted = deleteBranch(scene.repo.open(), "topic/x");
        QVERIFY2(deleted, whyNot(deleted).c_str());
        scene.repo.git({"config", "remote.origin.fetch", "+refs/*:refs/*"});
        scene.repo.git({"config", "remote.origin.mirror", "true"});
        scene.repo.git({"config", "fetch.prune", "true"});
        scene.repo.git({"update-ref", "refs/notes/mine", "HEAD"});
        const std::string before = scene.repo.git({"for-each-ref"});
        const auto report = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(scene.repo.git({"for-each-ref"}), before);
        const auto restored = restore(scene.repo.open(), deleted->entry.id);
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(refAt(scene.repo, "refs/heads/topic/x"), scene.topic[1]);
    }

    // git-config(1): remote.<name>.prune wins over fetch.prune; neither set: nothing is pruned.
    void prunesAsConfigured_data()
    {
        QTest::addColumn<QString>("general");
        QTest::addColumn<QString>("own");
        QTest::addColumn<bool>("pruned");
        QTest::newRow("not set") << "" << "" << false;
        QTest::newRow("general") << "true" << "" << true;
        QTest::newRow("own") << "" << "true" << true;
        QTest::newRow("own says no") << "true" << "false" << false;
    }
    void prunesAsConfigured()
    {
        QFETCH(QString, general);
        QFETCH(QString, own);
        QFETCH(bool, pruned);
        RemoteScene scene;
        if (!general.isEmpty())
            scene.repo.git({"config", "fetch.prune", general});
        if (!own.isEmpty())
            scene.repo.git({"config", "remote.origin.prune", own});
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        const std::string strangers = scene.strangerPushes();
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        scene.gitIn(scene.fork, {"branch", "-D", "topic/x"});
        const auto report = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(report, whyNot(report).c_str());
        QVERIFY2(report->line().contains("1 gone"), report->line().c_str());
        QCOMPARE(refAt(scene.repo, "refs/remotes/origin/topic/x"), pruned ? std::string() : strangers);
        // The last known tip stays, with no reflog and no other ref to hold it: git's own gc decides.
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"prune", "--expire=now"});
        scene.repo.git({"cat-file", "-e", QString::fromStdString(strangers)});
        const auto entries = readLogbook(scene.repo.open());
        QVERIFY(entries);
        QCOMPARE(entries->size(), std::size_t(pruned ? 1 : 0));
        if (!pruned)
            return;
        QCOMPARE(entryKindName(entries->front().kind), std::string_view("fetch"));
        const auto restored = restore(scene.repo.open(), entries->front().id);
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(refAt(scene.repo, "refs/remotes/origin/topic/x"), strangers);
        scene.checkSound();
    }

    // What git checks is checked: by transfer.fsckObjects here, by receive.fsckObjects over there.
    void aBadObjectIsRefused()
    {
        RemoteScene scene;
        const std::string bad = badCommit(scene, scene.upstream, scene.main);
        scene.gitIn(scene.upstream, {"update-ref", "refs/heads/bad", QString::fromStdString(bad)});
        scene.repo.git({"config", "transfer.fsckObjects", "true"});
        const std::string before = scene.repo.git({"for-each-ref"});
        const auto refused = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY(!refused);
        const std::string line = refused.error().line();
        QVERIFY2(line.contains(bad) && line.contains("badDate"), line.c_str());
        QVERIFY2(!line.contains("Check the address"), line.c_str());
        QVERIFY2(line.contains("fetch.fsck.skipList"), line.c_str());
        QCOMPARE(scene.repo.git({"for-each-ref"}), before);
        QVERIFY(scene.repo.tryGit({"cat-file", "-e", QString::fromStdString(bad)}).exitCode != 0);
        scene.repo.git({"config", "transfer.fsckObjects", "false"});
        const auto taken = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY2(taken, whyNot(taken).c_str());
        QCOMPARE(refAt(scene.repo, "refs/remotes/upstream/bad"), bad);
    }
    void aBadObjectIsRefusedThere()
    {
        RemoteScene scene;
        const std::string bad = badCommit(scene, scene.repo.path(), scene.topic[1]);
        scene.repo.git({"update-ref", "refs/heads/topic/x", QString::fromStdString(bad)});
        scene.gitIn(scene.fork, {"config", "receive.fsckObjects", "true"});
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1]).value()});
        QVERIFY(!pushed);
        const std::string line = pushed.error().line();
        QVERIFY2(line.contains(bad) && line.contains("badDate"), line.c_str());
        QVERIFY2(!line.contains("may have taken"), line.c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        const auto entries = readLogbook(scene.repo.open());
        QVERIFY(entries);
        for (const LogbookEntry& entry : *entries)
            QVERIFY(entry.state != EntryState::Begun);
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestFetchLimits test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_fetch_limits.moc"

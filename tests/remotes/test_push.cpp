// SPDX-License-Identifier: MIT
//
// Push with a lease over a path, file:// and ssh: what arrives, what is refused, and that the fork is untouched when it is.
// The reference for refs and soundness is git itself (rev-parse, fsck --strict).
#include "core/remotes/fetch.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QFile>
#include <QtTest/QtTest>

#include <thread>

using namespace espalier;
using namespace espalier::test;

namespace {
Oid oid(const std::string& hex) { return Oid::parse(hex).value(); }
} // namespace

class TestPush : public QObject {
    Q_OBJECT

    static void reaches()
    {
        QTest::addColumn<int>("reach");
        QTest::newRow("path") << int(RemoteScene::Path);
        QTest::newRow("file") << int(RemoteScene::FileUrl);
        QTest::newRow("ssh") << int(RemoteScene::Ssh);
    }

  private Q_SLOTS:
    void checkedThenForced_data() { reaches(); }
    void checkedThenForced()
    {
        QFETCH(int, reach);
        RemoteScene scene{RemoteScene::Reach(reach)};
        Repository clone = scene.repo.open();
        QVERIFY(fetchRemote(clone, "upstream"));
        scene.replayTopic();
        const auto check = overwriteCheck(clone, "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        QVERIFY(!check->fastForward);
        QCOMPARE(check->remoteTip.hex(), scene.topic[1]);
        QCOMPARE(check->pairs.size(), std::size_t(2));
        // The first commit is the same change, the second was changed and is known by message and author.
        for (const CommitPair& pair : check->pairs)
            QCOMPARE(pair.sameChange, pair.old.id.hex() == scene.topic[0]);
        QVERIFY(check->foreign.empty() && check->added.empty() && check->removed.empty());
        const auto plain = push(clone, {"topic/x", {}, std::nullopt});
        QVERIFY(!plain);
        QCOMPARE(plain.error().kind, ErrorKind::Refused);
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        const auto pushed = push(clone, {"topic/x", {}, check->remoteTip});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(pushed->forced);
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", QString::fromStdString(keptRef(pushed->entry.id, 0))}), scene.topic[1]);
        QCOMPARE(findEntry(clone, pushed->entry.id)->state, EntryState::Done);
        scene.checkSound();
        const auto restored = restorePush(clone, pushed->entry.id);
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QCOMPARE(findEntry(clone, pushed->entry.id)->state, EntryState::TakenBack);
        scene.checkSound();
    }

    void newBranchFastForwardAndDelete_data() { reaches(); }
    void newBranchFastForwardAndDelete()
    {
        QFETCH(int, reach);
        RemoteScene scene{RemoteScene::Reach(reach)};
        Repository clone = scene.repo.open();
        scene.repo.git({"branch", "topic/new", QString::fromStdString(scene.topic[0])});
        auto pushed = push(clone, {"topic/new", {}, std::nullopt});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(!pushed->forced && pushed->old.isZero());
        QCOMPARE(scene.forkAt("topic/new"), scene.topic[0]);
        scene.repo.git({"branch", "--force", "topic/new", QString::fromStdString(scene.topic[1])});
        pushed = push(clone, {"topic/new", {}, std::nullopt});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/new"), scene.topic[1]);
        const auto wrong = deleteRemoteBranch(clone, "origin", "topic/new", oid(scene.topic[0]));
        QVERIFY(!wrong);
        QCOMPARE(scene.forkAt("topic/new"), scene.topic[1]);
        const auto gone = deleteRemoteBranch(clone, "origin", "topic/new", oid(scene.topic[1]));
        QVERIFY2(gone, whyNot(gone).c_str());
        QCOMPARE(scene.forkAt("topic/new"), std::string());
        const auto back = restorePush(clone, gone->entry.id);
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(scene.forkAt("topic/new"), scene.topic[1]);
        scene.checkSound();
    }

    // The user stops while the server's hook still speaks: by then the branch has moved there.
    void stoppedWhenItHadArrived()
    {
        RemoteScene scene(RemoteScene::Ssh);
        Repository clone = scene.repo.open();
        QVERIFY(fetchRemote(clone, "origin"));
        scene.replayTopic();
        const QString marker = scene.repo.outside() + "/arrived", go = scene.repo.outside() + "/go";
        scene.writeScript(scene.fork + "/hooks/post-receive", ("#!/bin/sh\ntouch '" + marker + "'\nwhile [ ! -e '" +
                                                               go + "' ]; do sleep 0.02; done\necho a word\n")
                                                                  .toUtf8());
        std::stop_source stop;
        const std::jthread user([&](std::stop_token ended) {
            while (!QFile::exists(marker) && !ended.stop_requested())
                std::this_thread::yield();
            stop.request_stop();
            QFile file(go);
            (void)file.open(QIODevice::WriteOnly);
        });
        const Oid old = Oid::parse(scene.topic[1]).value();
        const auto pushed = push(clone, {"topic/x", "origin", old}, {}, Progress{stop.get_token(), {}});
        QVERIFY(!pushed);
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(pushed.error().kind, ErrorKind::Cancelled);
        QCOMPARE(pushed.error().line(), "Stopped. origin may have taken it already; fetch, and it shows.");
        QCOMPARE(readLogbook(clone)->front().state, EntryState::Begun);
        QVERIFY(fetchRemote(clone, "origin"));
        QCOMPARE(readLogbook(clone)->front().state, EntryState::Done);
    }

    void foreignCommitsAreLoud()
    {
        RemoteScene scene;
        const std::string foreign = scene.strangerPushes();
        Repository clone = scene.repo.open();
        QVERIFY(fetchRemote(clone, "upstream"));
        scene.replayTopic();
        const auto check = overwriteCheck(clone, "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        QCOMPARE(check->foreign.size(), std::size_t(1));
        QCOMPARE(check->foreign[0].id.hex(), foreign);
        QVERIFY(check->cautions.at(0).contains("Oda Vik"));
    }

    // The remote moves between the check and the push.
    void movedSinceTheCheck_data() { reaches(); }
    void movedSinceTheCheck()
    {
        QFETCH(int, reach);
        RemoteScene scene{RemoteScene::Reach(reach)};
        Repository clone = scene.repo.open();
        scene.replayTopic();
        const auto check = overwriteCheck(clone, "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        const std::string foreign = scene.strangerPushes();
        const auto pushed = push(clone, {"topic/x", {}, check->remoteTip});
        QVERIFY(!pushed);
        QCOMPARE(pushed.error().kind, ErrorKind::Refused);
        QCOMPARE(scene.forkAt("topic/x"), foreign);
        QCOMPARE(readLogbook(clone)->size(), std::size_t(0));
    }

    // It moves in the middle of the push, after it was looked at for the last time: the pre-push hook does it.
    void movedInTheMiddle_data() { reaches(); }
    void movedInTheMiddle()
    {
        QFETCH(int, reach);
        RemoteScene scene{RemoteScene::Reach(reach)};
        Repository clone = scene.repo.open();
        scene.replayTopic();
        const auto check = overwriteCheck(clone, "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        const std::string other = scene.base;
        scene.writeScript(scene.repo.path() + "/.git/hooks/pre-push",
                          "#!/bin/sh\nunset GIT_DIR\nexec git -C '" + scene.fork.toUtf8() +
                              "' update-ref refs/heads/topic/x " + QByteArray::fromStdString(other) + "\n");
        const auto pushed = push(clone, {"topic/x", {}, check->remoteTip});
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().kind == ErrorKind::Refused, pushed.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), other);
        QCOMPARE(readLogbook(clone)->size(), std::size_t(0));
        scene.checkSound();
    }

    void hooksSayNo_data() { reaches(); }
    void hooksSayNo()
    {
        QFETCH(int, reach);
        RemoteScene scene{RemoteScene::Reach(reach)};
        Repository clone = scene.repo.open();
        scene.repo.git({"branch", "other", QString::fromStdString(scene.topic[0])});
        const QString own = scene.repo.path() + "/.git/hooks/pre-push";
        scene.writeScript(own, "#!/bin/sh\ncat >\"$0.in\"\necho \"$1\" >>\"$0.in\"\necho not today >&2\nexit 1\n");
        auto pushed = push(clone, {"other", {}, std::nullopt});
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().line().contains("not today"), pushed.error().line().c_str());
        QFile seen(own + ".in");
        QVERIFY(seen.open(QIODevice::ReadOnly));
        QCOMPARE(seen.readAll().toStdString(),
                 "refs/heads/other " + scene.topic[0] + " refs/heads/other " + std::string(40, '0') + "\norigin\n");
        QVERIFY(QFile::remove(own));
        scene.writeScript(scene.fork + "/hooks/pre-receive",
                          "#!/bin/sh\necho 'the fork \033[31msays no' >&2\nexit 1\n");
        pushed = push(clone, {"other", {}, std::nullopt});
        QVERIFY(!pushed);
        QCOMPARE(pushed.error().kind, ErrorKind::Refused);
        QVERIFY2(pushed.error().line().contains("says no"), pushed.error().line().c_str());
        QVERIFY(!pushed.error().line().contains('\033'));
        QCOMPARE(scene.forkAt("other"), std::string());
        QCOMPARE(readLogbook(clone)->size(), std::size_t(0));
    }

    void sshIsAskedAsGitAsks()
    {
        RemoteScene scene{RemoteScene::Ssh};
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        QFile log(scene.repo.outside() + "/ssh.log");
        QVERIFY(log.open(QIODevice::ReadOnly));
        const QByteArray called = log.readLine();
        QVERIFY2(called.endsWith("-p 2222 somebody@example.org git-upload-pack '" + scene.fork.toUtf8() + "'\n"),
                 called.constData());
        scene.repo.git({"config", "remote.bad.url", "ssh://-oProxyCommand=touch$IFS/x"});
        const auto bad = fetchRemote(scene.repo.open(), "bad");
        QVERIFY(!bad);
        QVERIFY2(bad.error().line().contains("address"), bad.error().line().c_str());
    }

    void sshFailureIsTold()
    {
        RemoteScene scene{RemoteScene::Ssh};
        scene.writeScript(scene.repo.outside() + "/ssh",
                          "#!/bin/sh\necho 'Host key verification failed.' >&2\nexit 255\n");
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        QCOMPARE(fetched.error().kind, ErrorKind::Network);
        QVERIFY2(fetched.error().line().contains("Host key verification failed"), fetched.error().line().c_str());
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestPush test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_push.moc"

// SPDX-License-Identifier: MIT
//
// The main job (fetch, bring up to date, overwrite check, push with a lease, take back, delete) over every way to a remote, against
// the real servers. The reference for refs and soundness is git itself (rev-parse, fsck --strict).
#include "core/remotes/fetch.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/push.h"
#include "tests/support/real_servers.h"
#include "tests/support/why_not.h"

#include <QFile>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

enum class Way { Path, File, Ssh, Https, Daemon };

} // namespace

class TestServers : public QObject {
    Q_OBJECT

    std::unique_ptr<RealServer> m_server;

    static void ways()
    {
        QTest::addColumn<int>("way");
        QTest::newRow("path") << int(Way::Path);
        QTest::newRow("file") << int(Way::File);
        QTest::newRow("ssh") << int(Way::Ssh);
        QTest::newRow("https") << int(Way::Https);
        QTest::newRow("git daemon") << int(Way::Daemon);
    }
    // Why the server is not there; empty when the scene's remotes lead to it.
    QString begin(const RemoteScene& scene, int way)
    {
        const QString missing = way == int(Way::Ssh)     ? SshServer::missing()
                                : way == int(Way::Https) ? WebServer::missing()
                                                         : QString();
        if (!missing.isEmpty())
            return missing;
        const QString folder = scene.repo.outside();
        if (way == int(Way::Ssh))
            m_server = std::make_unique<SshServer>(folder);
        if (way == int(Way::Https))
            m_server = std::make_unique<WebServer>(folder);
        if (way == int(Way::Daemon))
            m_server = std::make_unique<DaemonServer>(folder);
        if (m_server)
            m_server->use(scene);
        if (way == int(Way::File)) {
            scene.repo.git({"remote", "set-url", "origin", "file://" + scene.fork});
            scene.repo.git({"remote", "set-url", "upstream", "file://" + scene.upstream});
        }
        return {};
    }

  private Q_SLOTS:
    void cleanup() { m_server.reset(); }

    void mainJob_data() { ways(); }
    void mainJob()
    {
        QFETCH(int, way);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        Repository clone = scene.repo.open();
        const auto updated = bringUpToDate(clone);
        QVERIFY2(updated, whyNot(updated).c_str());
        QVERIFY2(!updated->notPushed, updated->notPushed ? updated->notPushed->line().c_str() : "");
        QCOMPARE(scene.repo.git({"rev-parse", "main"}), scene.main);
        QCOMPARE(scene.forkAt("main"), scene.main);
        QCOMPARE(scene.repo.git({"symbolic-ref", "refs/remotes/origin/HEAD"}), "refs/remotes/origin/main");
        scene.replayTopic();
        const auto check = overwriteCheck(clone, "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        QCOMPARE(check->remoteTip.hex(), scene.topic[1]);
        const auto pushed = push(clone, {"topic/x", {}, check->remoteTip});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(pushed->forced);
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", QString::fromStdString(keptRef(pushed->entry.id, 0))}), scene.topic[1]);
        const std::string strangers = scene.strangerPushes();
        const auto late = push(clone, {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY(!late);
        QCOMPARE(late.error().kind, ErrorKind::Refused);
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        const auto again = push(clone, {"topic/x", {}, Oid::parse(strangers)});
        QVERIFY2(again, whyNot(again).c_str());
        scene.repo.git({"cat-file", "-e", QString::fromStdString(strangers)});
        const auto restored = restorePush(clone, again->entry.id);
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        QCOMPARE(findEntry(clone, again->entry.id)->state, EntryState::TakenBack);
        const auto gone = deleteRemoteBranch(clone, "origin", "topic/x", Oid::parse(strangers).value());
        QVERIFY2(gone, whyNot(gone).c_str());
        QCOMPARE(scene.forkAt("topic/x"), std::string());
        scene.checkSound();
        QVERIFY(!QFile::exists(scene.repo.path() + "/.git/shallow"));
    }

    // What a server's hook says no with is shown as plain text, and nothing is changed.
    void serversRefusal_data() { ways(); }
    void serversRefusal()
    {
        QFETCH(int, way);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        scene.writeScript(scene.fork + "/hooks/pre-receive",
                          "#!/bin/sh\necho 'the fork \033[31msays no: <b>sign off</b>' >&2\nexit 1\n");
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
        QVERIFY(!pushed);
        QCOMPARE(pushed.error().kind, ErrorKind::Refused);
        const std::string line = pushed.error().line();
        QVERIFY2(line.contains("says no: <b>sign off</b>") && line.contains("pre-receive hook declined"), line.c_str());
        QVERIFY(!line.contains('\033') && !line.contains("fetch and look again"));
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QCOMPARE(readLogbook(scene.repo.open())->size(), std::size_t(0));
    }

    // The server goes away when the branch has moved and before it has said so: that is read back.
    void vanishesAfterwards_data() { ways(); }
    void vanishesAfterwards()
    {
        QFETCH(int, way);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        const std::string strangers = scene.strangerPushes();
        scene.replayTopic();
        scene.writeScript(scene.fork + "/hooks/post-receive", "#!/bin/sh\nkill -KILL $PPID\n");
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(strangers)});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(findEntry(scene.repo.open(), pushed->entry.id)->state, EntryState::Done);
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"gc", "--quiet", "--prune=now"});
        scene.repo.git({"cat-file", "-e", QString::fromStdString(strangers)});
    }

    // The other side says yes, and its own hook sets the branch back, or on: what is read back counts.
    void itsHookMovesTheBranch_data()
    {
        QTest::addColumn<int>("way");
        QTest::addColumn<bool>("back");
        for (const auto& [name, way] : {std::pair("path", Way::Path),
                                        {"file", Way::File},
                                        {"ssh", Way::Ssh},
                                        {"https", Way::Https},
                                        {"git daemon", Way::Daemon}})
            for (const bool back : {true, false})
                QTest::addRow("%s, %s", name, back ? "back" : "on") << int(way) << back;
    }
    void itsHookMovesTheBranch()
    {
        QFETCH(int, way);
        QFETCH(bool, back);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        scene.replayTopic();
        const QByteArray setBack = "git update-ref refs/heads/topic/x " + QByteArray::fromStdString(scene.topic[1]);
        const QByteArray moveOn = "git update-ref refs/heads/topic/x $(git -c user.name=Forge -c "
                                  "user.email=forge@example.org commit-tree -p topic/x -m 'Stamped' 'topic/x^{tree}')";
        scene.writeScript(scene.fork + "/hooks/post-receive", "#!/bin/sh\n" + (back ? setBack : moveOn) + '\n');
        const Repository clone = scene.repo.open();
        const auto pushed = push(clone, {"topic/x", "origin", Oid::parse(scene.topic[1])});
        const auto entries = readLogbook(clone);
        QCOMPARE(entries->size(), std::size_t(1));
        QCOMPARE(scene.repo.git({"rev-parse", QString::fromStdString(keptRef(entries->front().id, 0))}),
                 scene.topic[1]);
        if (back) {
            QVERIFY(!pushed);
            QVERIFY2(pushed.error().line().contains("said yes, but its branch stands as before"),
                     pushed.error().line().c_str());
            QCOMPARE(entries->front().state, EntryState::Begun);
            QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
            QVERIFY(QFile::remove(scene.fork + "/hooks/post-receive"));
            const auto again = push(clone, {"topic/x", "origin", Oid::parse(scene.topic[1])});
            QVERIFY2(again, whyNot(again).c_str());
            QCOMPARE(findEntry(clone, entries->front().id)->state, EntryState::Undone);
            return;
        }
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(std::ranges::any_of(pushed->notices,
                                    [](const std::string& notice) { return notice.contains("has moved on since"); }));
        QCOMPARE(entries->front().state, EntryState::Done);
        QCOMPARE(scene.gitIn(scene.fork, {"rev-parse", "topic/x^"}), scene.replayed[1]);
    }

    // Several branches of one push: one is refused, so none moves.
    void allOrNone_data() { ways(); }
    void allOrNone()
    {
        QFETCH(int, way);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        const Repository clone = scene.repo.open();
        scene.replayTopic();
        scene.repo.git({"branch", "topic/below", QString::fromStdString(scene.replayed[0])});
        const std::array requests{PushRequest{"topic/below", "origin", Oid{}},
                                  PushRequest{"topic/x", "origin", Oid::parse(scene.topic[1])}};
        scene.writeScript(scene.fork + "/hooks/update",
                          "#!/bin/sh\n[ \"$1\" != refs/heads/topic/x ] || { echo 'not this one' >&2; exit 1; }\n");
        const auto refused = pushAll(clone, requests);
        QVERIFY(!refused);
        QVERIFY2(refused.error().line().contains("not this one"), refused.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/below"), std::string());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QVERIFY(readLogbook(clone)->empty());
        QVERIFY(QFile::remove(scene.fork + "/hooks/update"));
        const auto pushed = pushAll(clone, requests);
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/below"), scene.replayed[0]);
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(readLogbook(clone)->size(), std::size_t(2));
        for (const Pushed& one : *pushed)
            QVERIFY(std::ranges::none_of(one.notices,
                                         [](const std::string& notice) { return notice.contains("one by one"); }));
    }

    // It goes away in the middle, and nothing can be said of what stands there: what was about to be overwritten stays kept.
    void vanishesHalfWay_data() { ways(); }
    void vanishesHalfWay()
    {
        QFETCH(int, way);
        RemoteScene scene;
        if (const QString missing = begin(scene, way); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        const std::string strangers = scene.strangerPushes();
        scene.replayTopic();
        scene.writeScript(scene.fork + "/hooks/pre-receive", "#!/bin/sh\nkill -KILL $PPID\n");
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(strangers)});
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().line().contains("may have taken it already"), pushed.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        const auto entries = readLogbook(scene.repo.open());
        QCOMPARE(entries->size(), std::size_t(1));
        QCOMPARE(entries->front().state, EntryState::Begun);
        QCOMPARE(scene.repo.git({"rev-parse", QString::fromStdString(keptRef(entries->front().id, 0))}), strangers);
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestServers test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_servers.moc"

// SPDX-License-Identifier: MIT
//
// OpenSSH at both ends: an alias from a configuration file, an agent, a jump host, a key that is refused, a host key that has changed,
// a banner. (The main job over ssh is in test_servers.)
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/real_servers.h"
#include "tests/support/why_not.h"

#include <QFile>
#include <QProcess>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestSshServer : public QObject {
    Q_OBJECT

    static void write(const QString& path, const QByteArray& text)
    {
        QFile out(path);
        if (!out.open(QIODevice::WriteOnly | QIODevice::Truncate) || out.write(text) != text.size())
            QTest::qFail("cannot write", __FILE__, __LINE__);
    }

  private Q_SLOTS:
    void initTestCase()
    {
        if (const QString why = SshServer::missing(); !why.isEmpty())
            QSKIP(qPrintable(why));
    }

    void aRefusedKey()
    {
        RemoteScene scene;
        SshServer server(scene.repo.outside());
        server.use(scene);
        write(server.file("allowed"), {});
        scene.replayTopic();
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
        QVERIFY(!fetched && !pushed);
        for (const Error& error : {fetched.error(), pushed.error()}) {
            QVERIFY2(error.line().contains("Permission denied (publickey)"), error.line().c_str());
            QVERIFY2(error.line().contains("which key or login ssh uses"), error.line().c_str());
        }
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QVERIFY(readLogbook(scene.repo.open())->empty());
    }

    void aChangedHostKey()
    {
        RemoteScene scene;
        SshServer server(scene.repo.outside());
        server.use(scene);
        QFile mine(server.file("mine.pub"));
        QVERIFY(mine.open(QIODevice::ReadOnly));
        write(server.file("known"),
              server.hostKeyLine().split(' ').first() + ' ' + mine.readAll().split(' ').mid(0, 2).join(' ') + '\n');
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        const std::size_t warning = line.find("REMOTE HOST IDENTIFICATION HAS CHANGED");
        QVERIFY2(warning != std::string::npos && warning < line.find("remove with"), line.c_str());
        QVERIFY2(line.contains("Somebody may be listening in"), line.c_str());
    }

    void anAgent()
    {
        RemoteScene scene;
        SshServer server(scene.repo.outside());
        server.use(scene);
        QProcess agent;
        const QString socket = server.file("agent");
        agent.start("ssh-agent", {"-D", "-a", socket});
        QVERIFY(QTest::qWaitFor([&] { return QFile::exists(socket); }, 60000));
        QCOMPARE(
            runProgram("ssh-add", {"-q", server.file("mine")}, scene.repo.outside(), {}, {{"SSH_AUTH_SOCK", socket}})
                .exitCode,
            0);
        QVERIFY(QFile::remove(server.file("mine")));
        server.configureClient(server.clientLines().replace("IdentityAgent none", "IdentityAgent " + socket.toUtf8()));
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        agent.terminate();
        agent.waitForFinished();
        QVERIFY2(fetched, whyNot(fetched).c_str());
    }

    void aJumpHost()
    {
        RemoteScene scene;
        SshServer server(scene.repo.outside());
        server.use(scene);
        server.configureClient(server.clientLines() + "ProxyJump gate\nHost gate\n" + server.clientLines());
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
    }

    void aBanner()
    {
        RemoteScene scene;
        write(scene.repo.outside() + "/banner", "You are welcome.\nBut \033[31mbehave\033[0m.\n1\n2\n3\n4\n5\n");
        SshServer server(scene.repo.outside(), "Banner " + scene.repo.outside().toUtf8() + "/banner\n");
        server.use(scene);
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        scene.repo.git({"remote", "set-url", "origin", server.url(scene.repo.outside() + "/nowhere.git")});
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        QVERIFY2(line.contains("does not appear to be a git repository"), line.c_str());
        QVERIFY(!line.contains('\033'));
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestSshServer test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_ssh_server.moc"

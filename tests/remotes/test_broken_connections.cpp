// SPDX-License-Identifier: MIT
//
// The other side breaks off: in the middle of a pack, or its ssh dies and leaves something behind that holds its pipes. Nothing is
// moved then, a line says so, and the next fetch makes it good. The reference is git itself (fsck, rev-list).
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/real_servers.h"
#include "tests/support/why_not.h"

#include <QFile>
#include <QtTest/QtTest>

#include <csignal>

using namespace espalier;
using namespace espalier::test;

namespace {

QString text(const std::string& id) { return QString::fromStdString(id); }

enum class Way { Path, File, Ssh };

} // namespace

class TestBrokenConnections : public QObject {
    Q_OBJECT

    // A process that the stub has left behind, ended with the test.
    struct LeftBehind {
        explicit LeftBehind(QString file) : path(std::move(file)) {}
        ~LeftBehind()
        {
            for (const pid_t each : pids())
                ::kill(each, SIGKILL);
        }
        std::vector<pid_t> pids() const
        {
            std::vector<pid_t> all;
            QFile in(path);
            if (in.open(QIODevice::ReadOnly))
                for (const QByteArray& line : in.readAll().split('\n'))
                    if (const int pid = line.toInt(); pid > 0)
                        all.push_back(pid);
            return all;
        }
        // None has ended by itself: whoever did not wait for them has seen something else end.
        bool areAlive() const
        {
            const std::vector<pid_t> all = pids();
            return !all.empty() && std::ranges::all_of(all, [](pid_t pid) { return ::kill(pid, 0) == 0; });
        }
        QString path;
    };

  private Q_SLOTS:
    void cleanup() { qunsetenv("GIT_SSH_COMMAND"); }

    // The pack ends after some kilobytes, whether git would keep it as it is or take it apart.
    void aPackIsCutOff_data()
    {
        QTest::addColumn<int>("way");
        QTest::addColumn<int>("unpackLimit");
        for (const auto& [name, way] : {std::pair("path", Way::Path), {"file", Way::File}, {"ssh", Way::Ssh}}) {
            QTest::addRow("%s, kept as a pack", name) << int(way) << 1;
            QTest::addRow("%s, taken apart", name) << int(way) << 1000;
        }
    }
    void aPackIsCutOff()
    {
        QFETCH(int, way);
        QFETCH(int, unpackLimit);
        if (way == int(Way::Ssh))
            if (const QString missing = SshServer::missing(); !missing.isEmpty())
                QSKIP(qPrintable(missing));
        RemoteScene scene;
        std::unique_ptr<SshServer> server;
        if (way == int(Way::Ssh)) {
            server = std::make_unique<SshServer>(scene.repo.outside());
            server->use(scene);
        }
        if (way == int(Way::File))
            scene.repo.git({"remote", "set-url", "upstream", "file://" + scene.upstream});
        scene.repo.git({"config", "fetch.unpackLimit", QString::number(unpackLimit)});
        // Two commits: small things first, then what nothing compresses, so that the cut is in the middle of it.
        std::string noise;
        for (unsigned i = 0, state = 1; i < 400'000; ++i)
            noise += char((state = state * 1103515245u + 12345u) >> 16);
        TempRepository theirs;
        theirs.git({"fetch", "--quiet", scene.upstream, "main"});
        const std::string first = theirs.commitFiles({{"d.txt", "d\n"}}, "Small", {scene.main});
        const std::string news = theirs.commitFiles({{"noise", noise}}, "Large", {first});
        theirs.git({"push", "--quiet", scene.upstream, text(news) + ":refs/heads/main", text(news) + ":refs/tags/v1"});
        // What is listed is shorter than that, so it is the pack that breaks off. Byte by byte: nothing waits for a block.
        const QString wrapper = scene.repo.outside() + "/cuts";
        scene.writeScript(wrapper, "#!/bin/sh\ngit-upload-pack \"$@\" | dd bs=1 count=150000 2>/dev/null\n");
        scene.repo.git({"config", "remote.upstream.uploadpack", wrapper});

        const std::string before = scene.repo.git({"for-each-ref"});
        const auto cut = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY(!cut);
        QCOMPARE(cut.error().kind, ErrorKind::Network);
        const std::string line = cut.error().line();
        QVERIFY2(line.contains("The fetch failed") && line.contains("early EOF") && line.contains("broke off") &&
                     !line.contains('\n'),
                 line.c_str());
        QCOMPARE(scene.repo.git({"for-each-ref"}), before);
        QVERIFY(!QFile::exists(scene.repo.path() + "/.git/FETCH_HEAD"));
        QVERIFY(readLogbook(scene.repo.open())->empty());

        scene.repo.git({"config", "--unset", "remote.upstream.uploadpack"});
        const auto healed = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY2(healed, whyNot(healed).c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/upstream/main"}), news);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/tags/v1"}), news);
        scene.checkSound();
    }

    // What ssh has started holds the way for messages open (as a shared connection does); the end of ssh is the end.
    void whatAnSshLeavesBehind_data()
    {
        QTest::addColumn<bool>("pushes");
        QTest::newRow("a fetch, at once") << false;
        QTest::newRow("a push, after what stands there was listed") << true;
    }
    void whatAnSshLeavesBehind()
    {
        QFETCH(bool, pushes);
        RemoteScene scene(RemoteScene::Ssh);
        const LeftBehind left(scene.repo.outside() + "/left");
        const QByteArray dies = "setsid sleep 3600 </dev/null >/dev/null &\necho $! >>'" + left.path.toUtf8() + "'\n";
        // As the scene's script, but where it dies.
        scene.writeScript(scene.repo.outside() + "/ssh",
                          "#!/bin/sh\nfor last; do :; done\n" +
                              (pushes ? "case \"$last\" in *receive-pack*) sh -c \"$last\" </dev/null\n" + dies +
                                            "kill -KILL $$ ;; esac\nexec sh -c \"$last\"\n"
                                      : "printf 0032\n" + dies + "kill -KILL $$\n"));
        scene.replayTopic();
        const std::string before = scene.repo.git({"for-each-ref"});
        if (pushes) {
            const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
            QVERIFY(!pushed);
            QCOMPARE(pushed.error().kind, ErrorKind::Network);
            QVERIFY2(!pushed.error().line().contains('\n'), pushed.error().line().c_str());
        } else {
            const auto fetched = fetchRemote(scene.repo.open(), "origin");
            QVERIFY(!fetched);
            QCOMPARE(fetched.error().kind, ErrorKind::Network);
            QCOMPARE(scene.repo.git({"for-each-ref"}), before);
        }
        QVERIFY(left.areAlive());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        // The next one, over an ssh that lives, goes on from there.
        scene.writeScript(scene.repo.outside() + "/ssh", "#!/bin/sh\nfor last; do :; done\nexec sh -c \"$last\"\n");
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        const auto again = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
        QVERIFY2(again, whyNot(again).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        scene.checkSound();
    }

    // A fetch that broke off left the commit, and its parent is here, but its tree or a file is not.
    void halfACommit_data()
    {
        QTest::addColumn<bool>("treeToo");
        QTest::newRow("without its tree") << false;
        QTest::newRow("without a file of its tree") << true;
    }
    void halfACommit()
    {
        QFETCH(bool, treeToo);
        RemoteScene scene;
        TempRepository theirs;
        theirs.git({"fetch", "--quiet", scene.upstream, "main"});
        const std::string news = theirs.commitFiles({{"new.txt", "nowhere here\n"}}, "News", {scene.main});
        theirs.git({"push", "--quiet", scene.upstream, text(news) + ":refs/heads/main"});
        const std::string tree = theirs.git({"rev-parse", text(news) + "^{tree}"});
        QCOMPARE(scene.repo.writeRaw("commit", theirs.readRaw("commit", news)), news);
        if (treeToo)
            QCOMPARE(scene.repo.writeRaw("tree", theirs.readRaw("tree", tree)), tree);
        QVERIFY(scene.repo.tryGit({"rev-list", "--objects", "--quiet", text(news)}).exitCode != 0);
        const auto fetched = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/upstream/main"}), news);
        scene.repo.git({"rev-list", "--objects", "--quiet", "refs/remotes/upstream/main"});
        QCOMPARE(scene.repo.git({"show", text(news) + ":new.txt"}), "nowhere here");
        scene.checkSound();
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestBrokenConnections test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_broken_connections.moc"

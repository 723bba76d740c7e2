// SPDX-License-Identifier: MIT
//
// Settings and repositories that people have, and what git does with them in the same place: addresses, push settings, shallow and
// broken-off clones, tags, repositories on disk that others work in. The reference is git's own manual (git-fetch(1),
// git-push(1), git-config(1)), and its rev-parse, rev-list and fsck.
#include "core/remotes/fetch.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QDir>
#include <QFile>
#include <QtTest/QtTest>

#include <filesystem>

using namespace espalier;
using namespace espalier::test;

namespace {

QByteArray contents(const QString& path)
{
    QFile in(path);
    return in.open(QIODevice::ReadOnly) ? in.readAll() : QByteArray();
}

QString text(const std::string& id) { return QString::fromStdString(id); }

} // namespace

class TestRemoteSettings : public QObject {
    Q_OBJECT

    // A third repository beside the scene's two.
    static QString another(const RemoteScene& scene, const char* name)
    {
        const QString path = scene.repo.outside() + QLatin1Char('/') + QLatin1String(name);
        scene.repo.git({"init", "--quiet", "--bare", "--initial-branch=main", "--template=", path});
        scene.repo.git({"push", "--quiet", path, text(scene.base) + ":refs/heads/main"});
        return path;
    }
    static std::string at(const QString& folder, const QString& ref)
    {
        const GitRun run = runProgram("git", {"rev-parse", "--verify", "--quiet", ref}, folder);
        return run.exitCode == 0 ? run.out.trimmed().toStdString() : std::string();
    }

  private Q_SLOTS:
    void cleanup() { qunsetenv("GIT_SSH_COMMAND"); }

    // A fetch that broke off left a commit without its tree: that the commit can be found says nothing.
    void anInterruptedFetchIsHealed()
    {
        RemoteScene scene;
        const std::string news = scene.strangerPushes();
        const std::string made =
            scene.gitIn(scene.fork, {"-c", "user.name=Oda Vik", "-c", "user.email=oda@example.org", "commit-tree", "-p",
                                     text(news), "-m", "Another tree",
                                     text(scene.gitIn(scene.fork, {"rev-parse", text(scene.base) + "^{tree}"}))});
        scene.gitIn(scene.fork, {"update-ref", "refs/heads/topic/x", text(made)});
        // Only the newest commit, neither its parent nor anything else.
        QCOMPARE(scene.repo.writeRaw("commit", scene.gitIn(scene.fork, {"cat-file", "commit", text(made)}) + "\n"),
                 made);
        QVERIFY(scene.repo.tryGit({"cat-file", "-e", text(news)}).exitCode != 0);
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), made);
        scene.repo.git({"rev-list", "--objects", "--quiet", "refs/remotes/origin/topic/x"});
        scene.checkSound();
    }

    void aShallowCloneStaysShallow()
    {
        RemoteScene scene;
        const QString shallow = scene.repo.outside() + "/shallow";
        scene.repo.git({"clone", "--quiet", "--depth", "1", "--no-single-branch", "file://" + scene.fork, shallow});
        const QByteArray cut = contents(shallow + "/.git/shallow");
        QVERIFY(!cut.isEmpty());
        const std::string news = scene.strangerPushes();
        const auto fetched = fetchRemote(*Repository::open(shallow.toStdString()), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(contents(shallow + "/.git/shallow"), cut);
        QCOMPARE(at(shallow, "refs/remotes/origin/topic/x"), news);
        QCOMPARE(runProgram("git", {"fsck", "--strict", "--no-dangling"}, shallow).exitCode, 0);
    }

    // The lock on its cut was left behind, and a fetch meets it: as git does, it goes on where it need not move the cut, and where
    // the lock is in its way the lock is what it speaks of.
    void theLockOnItsCut()
    {
        RemoteScene scene;
        const QString shallow = scene.repo.outside() + "/shallow", copy = scene.repo.outside() + "/copy";
        for (const QString& folder : {shallow, copy}) {
            scene.repo.git({"clone", "--quiet", "--depth", "1", "--no-single-branch", "file://" + scene.fork, folder});
            QFile stale(folder + "/.git/shallow.lock");
            QVERIFY(stale.open(QIODevice::WriteOnly));
        }
        const QByteArray cut = contents(shallow + "/.git/shallow");
        const std::string news = scene.strangerPushes();
        const bool gitDoes = runProgram("git", {"fetch", "--quiet", "origin"}, copy).exitCode == 0;
        const auto fetched = fetchRemote(*Repository::open(shallow.toStdString()), "origin");
        QCOMPARE(fetched.has_value(), gitDoes);
        if (fetched)
            QCOMPARE(at(shallow, "refs/remotes/origin/topic/x"), news);
        else
            QVERIFY2(fetched.error().line().contains("shallow.lock"), fetched.error().line().c_str());
        QCOMPARE(contents(shallow + "/.git/shallow"), cut);
        QVERIFY(QFile::exists(shallow + "/.git/shallow.lock"));
    }

    // A fetch from a shallow clone would cut this clone's own history.
    void aShallowRemoteMovesNothing()
    {
        RemoteScene scene;
        scene.strangerPushes();
        const QString shallow = scene.repo.outside() + "/shallow.git";
        scene.repo.git(
            {"clone", "--quiet", "--bare", "--depth", "1", "--branch", "topic/x", "file://" + scene.fork, shallow});
        const QString fresh = scene.repo.outside() + "/fresh";
        scene.repo.git({"init", "--quiet", fresh});
        scene.gitIn(fresh, {"remote", "add", "origin", "file://" + shallow});
        const auto fetched = fetchRemote(*Repository::open(fresh.toStdString()), "origin");
        QVERIFY(!fetched);
        QVERIFY2(fetched.error().line().contains("shallow clone"), fetched.error().line().c_str());
        QVERIFY(scene.gitIn(fresh, {"for-each-ref"}).empty());
        QVERIFY(!QFile::exists(fresh + "/.git/shallow"));
    }

    // git refuses to clobber a tag; so do we, and say so.
    void tagsAreNotClobbered()
    {
        RemoteScene scene;
        scene.repo.git({"tag", "v1", text(scene.base)});
        scene.gitIn(scene.fork, {"update-ref", "refs/tags/v1", text(scene.topic[1])});
        scene.gitIn(scene.fork, {"update-ref", "refs/tags/v2", text(scene.topic[1])});
        scene.repo.git({"config", "remote.origin.tagOpt", "--tags"});
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/tags/v1"}), scene.base);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/tags/v2"}), scene.topic[1]);
        QVERIFY2(fetched->line().contains("yours was kept"), fetched->line().c_str());
    }

    // A remote that shows nothing at all is more likely broken than empty: where git prunes, nothing is pruned and it is said.
    void anEmptyRemotePrunesNothing()
    {
        RemoteScene scene;
        scene.repo.git({"config", "fetch.prune", "true"});
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        const std::string before = scene.repo.git({"for-each-ref", "refs/remotes/origin"});
        const QString empty = scene.repo.outside() + "/empty.git";
        scene.repo.git({"init", "--quiet", "--bare", empty});
        scene.repo.git({"remote", "set-url", "origin", empty});
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(scene.repo.git({"for-each-ref", "refs/remotes/origin"}), before);
        QVERIFY2(fetched->line().contains("nothing was pruned"), fetched->line().c_str());
    }

    // A relative address is relative to the worktree, for a fetch and a push alike, wherever the program was started.
    void relativeAddresses()
    {
        RemoteScene scene;
        const QString decoy = scene.repo.outside() + "/elsewhere/sub";
        QVERIFY(QDir().mkpath(decoy));
        scene.repo.git({"clone", "--quiet", "--bare", scene.upstream, scene.repo.outside() + "/elsewhere/fork.git"});
        scene.repo.git({"remote", "set-url", "origin", "../fork.git"});
        const std::filesystem::path before = std::filesystem::current_path();
        std::filesystem::current_path(decoy.toStdString());
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        const GitRun seen = scene.repo.tryGit({"rev-parse", "--verify", "--quiet", "refs/remotes/origin/topic/x"});
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])});
        std::filesystem::current_path(before);
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(seen.out.trimmed().toStdString(), scene.topic[1]);
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(at(scene.repo.outside() + "/elsewhere/fork.git", "topic/x"), std::string());
    }

    // The check reads where the push goes.
    void pushUrl()
    {
        RemoteScene scene;
        const QString elsewhere = another(scene, "elsewhere.git");
        scene.repo.git({"push", "--quiet", elsewhere, text(scene.base) + ":refs/heads/topic/x"});
        scene.repo.git({"config", "remote.origin.pushurl", elsewhere});
        scene.replayTopic();
        const auto check = overwriteCheck(scene.repo.open(), "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        QCOMPARE(check->remoteTip.hex(), scene.base);
        QVERIFY(check->fastForward);
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, std::nullopt});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(at(elsewhere, "topic/x"), scene.replayed[1]);
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        // And taken back there, too.
        const auto back = restorePush(scene.repo.open(), pushed->entry.id);
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(at(elsewhere, "topic/x"), scene.base);
    }

    void severalPushUrls()
    {
        RemoteScene scene;
        const QString second = another(scene, "second.git");
        scene.repo.git({"push", "--quiet", second, text(scene.topic[1]) + ":refs/heads/topic/x"});
        scene.repo.git({"config", "--add", "remote.origin.pushurl", scene.fork});
        scene.repo.git({"config", "--add", "remote.origin.pushurl", second});
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(at(second, "topic/x"), scene.replayed[1]);
        // They part: then neither is touched.
        scene.gitIn(second, {"update-ref", "refs/heads/topic/x", text(scene.base)});
        scene.repo.git({"branch", "--force", "topic/x", text(scene.main)});
        const auto parted = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.replayed[1])});
        QVERIFY(!parted);
        QVERIFY2(parted.error().line().contains("different commits"), parted.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
    }

    // Several addresses of one remote, none of them for pushes alone: fetched is from the first, pushed to all, as git does.
    void severalUrls()
    {
        RemoteScene scene;
        const QString second = another(scene, "second.git");
        scene.repo.git({"push", "--quiet", second, text(scene.topic[1]) + ":refs/heads/topic/x"});
        scene.repo.git({"config", "--add", "remote.origin.url", second});
        const std::string strangers = scene.strangerPushes();
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), strangers);
        scene.replayTopic();
        const auto parted = push(scene.repo.open(), {"topic/x", {}, Oid::parse(strangers)});
        QVERIFY(!parted);
        QVERIFY2(parted.error().line().contains("different commits"), parted.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        scene.repo.git({"push", "--quiet", "--force", second, text(strangers) + ":refs/heads/topic/x"});
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(strangers)});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(at(second, "topic/x"), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), scene.replayed[1]);
        const auto back = restorePush(scene.repo.open(), pushed->entry.id);
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        QCOMPARE(at(second, "topic/x"), strangers);
        // The reference: git itself pushes to both.
        scene.repo.git({"push", "--quiet", "--force", "origin", "topic/x"});
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(at(second, "topic/x"), scene.replayed[1]);
    }

    void pushPlaces_data()
    {
        QTest::addColumn<QStringList>("settings"); // key, value, key, value …
        QTest::addColumn<QString>("remote");
        QTest::addColumn<QString>("ref");
        QTest::newRow("plain") << QStringList() << "origin" << "topic/x";
        QTest::newRow("pushRemote") << QStringList{"branch.topic/x.pushRemote", "upstream"} << "upstream" << "topic/x";
        QTest::newRow("push, pattern") << QStringList{"remote.origin.push", "refs/heads/*:refs/heads/mira/*"}
                                       << "origin"
                                       << "mira/topic/x";
        QTest::newRow("push, short") << QStringList{"remote.origin.push", "+topic/x:new"} << "origin" << "new";
        QTest::newRow("upstream") << QStringList{"push.default",          "upstream",
                                                 "branch.topic/x.remote", "origin",
                                                 "branch.topic/x.merge",  "refs/heads/mine"}
                                  << "origin" << "mine";
        QTest::newRow("upstream elsewhere")
            << QStringList{"push.default",         "upstream",       "branch.topic/x.remote", "upstream",
                           "branch.topic/x.merge", "refs/heads/mine"}
            << "origin" << "topic/x";
    }
    void pushPlaces()
    {
        QFETCH(QStringList, settings);
        QFETCH(QString, remote);
        QFETCH(QString, ref);
        RemoteScene scene;
        for (int i = 0; i + 1 < settings.size(); i += 2)
            scene.repo.git({"config", settings[i], settings[i + 1]});
        scene.replayTopic();
        const auto check = overwriteCheck(scene.repo.open(), "topic/x", true);
        QVERIFY2(check, whyNot(check).c_str());
        QCOMPARE(check->remote, remote.toStdString());
        QCOMPARE(check->remoteRef, "refs/heads/" + ref.toStdString());
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, check->remoteTip});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(at(remote == "origin" ? scene.fork : scene.upstream, "refs/heads/" + ref), scene.replayed[1]);
        if (ref != "topic/x")
            QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
    }

    void whatIsNoBranchIsNotPushed()
    {
        RemoteScene scene;
        scene.repo.git({"config", "remote.origin.push", "refs/heads/*:refs/for/*"});
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().line().contains("refs/for/topic/x"), pushed.error().line().c_str());
    }

    // A refspec that leads into the own branches: a push from here moves none of them.
    void aPushMovesNoOwnBranch()
    {
        RemoteScene scene;
        scene.repo.git({"config", "remote.origin.fetch", "+refs/heads/*:refs/heads/*"});
        scene.replayTopic();
        scene.repo.git({"checkout", "--quiet", "--detach"});
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        const auto back = restorePush(scene.repo.open(), pushed->entry.id);
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/heads/topic/x"}), scene.replayed[1]);
    }

    // A repository on disk is git's receive-pack's: what is checked out in a linked worktree there, hidden, or limited stays.
    void receivePackDecides_data()
    {
        QTest::addColumn<int>("what");
        QTest::newRow("checked out in a worktree") << 0;
        QTest::newRow("hidden") << 1;
        QTest::newRow("too large") << 2;
    }
    void receivePackDecides()
    {
        QFETCH(int, what);
        RemoteScene scene;
        if (what == 0)
            scene.gitIn(scene.fork, {"worktree", "add", "--quiet", scene.repo.outside() + "/there", "topic/x"});
        if (what == 1)
            scene.gitIn(scene.fork, {"config", "receive.hideRefs", "refs/heads/topic"});
        if (what == 2)
            scene.gitIn(scene.fork, {"config", "receive.maxInputSize", "1"});
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY(!pushed);
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QVERIFY2(!pushed.error().line().contains("no error"), pushed.error().line().c_str());
    }
    // What comes stands apart until the fork's own hook has said yes, and is gone when it says no.
    void whatComesIsApartUntilTheHookSaysYes()
    {
        RemoteScene scene;
        const QString seen = scene.repo.outside() + "/seen";
        scene.writeScript(scene.fork + "/hooks/pre-receive",
                          ("#!/bin/sh\nread old new ref\necho \"$GIT_QUARANTINE_PATH\" >'" + seen +
                           "'\ngit cat-file -e $new || exit 2\nexit 1\n")
                              .toUtf8());
        scene.replayTopic();
        const auto refused = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY(!refused);
        const QString apart = QString::fromUtf8(contents(seen)).trimmed();
        QVERIFY2(apart.startsWith(scene.fork) && apart.contains("/objects/"), qPrintable(apart));
        QVERIFY(runProgram("git", {"cat-file", "-e", text(scene.replayed[1])}, scene.fork).exitCode != 0);
        QVERIFY(QDir(scene.fork + "/objects").entryList({"*incoming*"}, QDir::Dirs | QDir::Hidden).isEmpty());
        scene.writeScript(scene.fork + "/hooks/pre-receive",
                          ("#!/bin/sh\necho \"$GIT_QUARANTINE_PATH\" >'" + seen + "'\n").toUtf8());
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(contents(seen).trimmed().size() > 1);
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
    }
    void postUpdateRuns()
    {
        RemoteScene scene;
        const QString seen = scene.repo.outside() + "/seen";
        scene.writeScript(scene.fork + "/hooks/post-update", ("#!/bin/sh\necho \"$1\" >'" + seen + "'\n").toUtf8());
        scene.replayTopic();
        const auto pushed = push(scene.repo.open(), {"topic/x", {}, Oid::parse(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(contents(seen), QByteArray("refs/heads/topic/x\n"));
    }

    // Forms of addresses, read by git: what ssh is called with.
    void addresses_data()
    {
        QTest::addColumn<QString>("url");
        QTest::addColumn<QByteArray>("called");
        QTest::newRow("escaped") << "ssh://forge.example.org/a%20b"
                                 << QByteArray("forge.example.org git-upload-pack '/a b'");
        QTest::newRow("brackets") << "[mira@forge.example.org:2222]:a/b"
                                  << QByteArray("-p 2222 mira@forge.example.org git-upload-pack 'a/b'");
        QTest::newRow("scp") << "mira@forge:~/x" << QByteArray("mira@forge git-upload-pack '~/x'");
    }
    void addresses()
    {
        QFETCH(QString, url);
        QFETCH(QByteArray, called);
        RemoteScene scene(RemoteScene::Ssh);
        scene.writeScript(scene.repo.outside() + "/ssh", "#!/bin/sh\necho \"$@\" >>\"$0.log\"\nexit 255\n");
        scene.repo.git({"remote", "set-url", "origin", url});
        QVERIFY(!fetchRemote(scene.repo.open(), "origin"));
        const QByteArray log = contents(scene.repo.outside() + "/ssh.log");
        QVERIFY2(log.trimmed().endsWith(called), log.constData());
    }

    // ssh dies, and what it has started holds its pipes open.
    void aDyingSshIsNotWaitedFor()
    {
        RemoteScene scene(RemoteScene::Ssh);
        scene.writeScript(scene.repo.outside() + "/ssh", "#!/bin/sh\nprintf 0032\nkill -KILL $$\n");
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        QCOMPARE(fetched.error().kind, ErrorKind::Network);
        scene.replayTopic();
        QVERIFY(!push(scene.repo.open(), {"topic/x", "origin", Oid::parse(scene.topic[1])}));
    }

    // A banner does not stand in for the reason.
    void bannersHideNoReason()
    {
        RemoteScene scene(RemoteScene::Ssh);
        scene.writeScript(scene.repo.outside() + "/ssh",
                          "#!/bin/sh\nfor i in 1 2 3 4 5 6 7 8; do echo \"Welcome, line $i\" >&2; done\n"
                          "echo 'mira@forge: Permission denied (publickey).' >&2\nexit 255\n");
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        QVERIFY2(line.contains("Permission denied (publickey)") && line.contains("which key"), line.c_str());
    }

    // A changed host key: the warning comes first, and the old key goes only after a look. Words: OpenSSH's sshconnect.c.
    void aChangedHostKeyIsAWarning()
    {
        RemoteScene scene(RemoteScene::Ssh);
        scene.writeScript(
            scene.repo.outside() + "/ssh",
            "#!/bin/sh\ncat >&2 <<'E'\n@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@\n"
            "@    WARNING: REMOTE HOST IDENTIFICATION HAS CHANGED!     @\n"
            "@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@@\n"
            "IT IS POSSIBLE THAT SOMEONE IS DOING SOMETHING NASTY!\n"
            "The fingerprint for the ED25519 key sent by the remote host is\nSHA256:abc.\n"
            "Offending ED25519 key in /home/mira/.ssh/known_hosts:3\n  remove with:\n  ssh-keygen -f x -R y\n"
            "Host key verification failed.\nE\nexit 255\n");
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        const std::size_t warning = line.find("REMOTE HOST IDENTIFICATION HAS CHANGED");
        QVERIFY2(warning != std::string::npos && warning < line.find("ssh-keygen"), line.c_str());
        QVERIFY2(line.contains("Somebody may be listening in"), line.c_str());
    }

    // The commands that only read start no git.
    void readingStartsNoGit()
    {
        RemoteScene scene;
        const QString folder = scene.repo.outside() + "/bin";
        scene.writeScript(folder + "/git", ("#!/bin/sh\ntouch '" + folder + "/ran'\nexit 1\n").toUtf8());
        const std::map<QString, QString> path{{"PATH", folder + ":" + qEnvironmentVariable("PATH")},
                                              {"GIT_COMMITTER_DATE", ""}}; // which only git can read
        for (const QStringList& command :
             {QStringList{"drift", scene.repo.path()},
              QStringList{"dry-run", scene.repo.path(), "--branch", "topic/x", "--onto", "main"}}) {
            const GitRun run = runProgram(ESPALIER_PROGRAM, command, scene.repo.path(), {}, path);
            QVERIFY2(run.exitCode == 0, run.err.constData());
        }
        QVERIFY(!QFile::exists(folder + "/ran"));
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestRemoteSettings test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_remote_settings.moc"

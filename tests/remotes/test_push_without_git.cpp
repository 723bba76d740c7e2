// SPDX-License-Identifier: MIT
//
// Where no git is installed: the main job through libgit2's own transports against real servers. Nothing is lost there either: the
// same lease, the same kept tips, the same logbook. The reference is git itself, which the test has and the program does not find.
#include "core/git/git_command.h"
#include "core/remotes/fetch.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/push.h"
#include "tests/support/real_servers.h"
#include "tests/support/why_not.h"

#include <QDirIterator>
#include <QFile>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return Oid::parse(hex).value(); }

enum class Way { Daemon, Https, Login };

} // namespace

class TestPushWithoutGit : public QObject {
    Q_OBJECT

    std::unique_ptr<RemoteScene> m_scene;
    std::unique_ptr<RealServer> m_server;
    Access m_access;
    int m_logins = 0, m_hosts = 0;

    // What the program does while it finds no git.
    template <typename Work> static auto without(const Work& work)
    {
        const QByteArray path = qgetenv("PATH");
        qputenv("PATH", "/nowhere");
        if (hasGit())
            qFatal("git is found all the same");
        auto done = work();
        qputenv("PATH", path);
        return done;
    }
    static void ways()
    {
        QTest::addColumn<int>("way");
        QTest::newRow("git daemon") << int(Way::Daemon);
        QTest::newRow("https") << int(Way::Https);
        QTest::newRow("https with a login") << int(Way::Login);
    }
    // Why the server is not there; empty when the scene's remotes lead to it.
    QString begin(Way way)
    {
        if (way != Way::Daemon)
            if (const QString missing = WebServer::missing(); !missing.isEmpty())
                return missing;
        m_scene = std::make_unique<RemoteScene>();
        const QString folder = m_scene->repo.outside();
        if (way == Way::Daemon) {
            m_server = std::make_unique<DaemonServer>(folder);
            m_server->use(*m_scene);
        } else {
            auto server = std::make_unique<WebServer>(folder);
            server->use(*m_scene, way == Way::Login ? "git/private" : "git/open");
            m_server = std::move(server);
        }
        // Without git nobody reads http.sslCAInfo: a person looks at the fingerprint.
        m_access.trustHost = [this](const std::string& host, const std::string& fingerprint) {
            ++m_hosts;
            return host.starts_with("127.0.0.1") && fingerprint.size() == 95;
        };
        m_access.askLogin = [this](const std::string&, const std::string&) {
            ++m_logins;
            return std::optional(Login{WebServer::user, WebServer::secret});
        };
        return {};
    }
    std::vector<LogbookEntry> entries() const { return readLogbook(m_scene->repo.open()).value(); }

  private Q_SLOTS:
    void cleanup()
    {
        m_server.reset();
        m_scene.reset();
        m_logins = m_hosts = 0;
    }

    void mainJob_data() { ways(); }
    void mainJob()
    {
        QFETCH(int, way);
        if (const QString missing = begin(Way(way)); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        RemoteScene& scene = *m_scene;
        Repository clone = scene.repo.open();
        const auto updated = without([&] { return bringUpToDate(clone, m_access); });
        QVERIFY2(updated, whyNot(updated).c_str());
        QVERIFY2(!updated->notPushed, updated->notPushed ? updated->notPushed->line().c_str() : "");
        for (const FetchReport& fetched : updated->fetched)
            QVERIFY2(fetched.line().contains("No git"), fetched.line().c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "main"}), scene.main);
        QCOMPARE(scene.forkAt("main"), scene.main);
        QCOMPARE(scene.repo.git({"symbolic-ref", "refs/remotes/origin/HEAD"}), "refs/remotes/origin/main");
        scene.replayTopic();
        const auto check = without([&] { return overwriteCheck(clone, "topic/x", true, m_access); });
        QVERIFY2(check, whyNot(check).c_str());
        QCOMPARE(check->remoteTip.hex(), scene.topic[1]);

        const auto plain = without([&] { return push(clone, {"topic/x", {}, std::nullopt}, m_access); });
        QVERIFY(!plain);
        QCOMPARE(plain.error().kind, ErrorKind::Refused);
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        const auto pushed = without([&] { return push(clone, {"topic/x", {}, check->remoteTip}, m_access); });
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(pushed->forced);
        QVERIFY2(!pushed->notices.empty() && pushed->notices.back().contains("No git"),
                 pushed->notices.empty() ? "" : pushed->notices.back().c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"rev-parse", QString::fromStdString(keptRef(pushed->entry.id, 0))}), scene.topic[1]);
        QCOMPARE(findEntry(clone, pushed->entry.id)->state, EntryState::Done);

        // A stranger pushes: what was seen is not what stands there.
        const std::string strangers = scene.strangerPushes();
        const std::size_t before = entries().size();
        const auto late = without([&] { return push(clone, {"topic/x", {}, oid(scene.topic[1])}, m_access); });
        QVERIFY(!late);
        QCOMPARE(late.error().kind, ErrorKind::Refused);
        QVERIFY2(late.error().line().contains("moved since it was looked at"), late.error().line().c_str());
        const auto lateRestore = without([&] { return restorePush(clone, pushed->entry.id, m_access); });
        QVERIFY(!lateRestore);
        QCOMPARE(lateRestore.error().kind, ErrorKind::Refused);
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        QCOMPARE(entries().size(), before);

        const auto again = without([&] { return push(clone, {"topic/x", {}, oid(strangers)}, m_access); });
        QVERIFY2(again, whyNot(again).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"gc", "--quiet", "--prune=now"});
        scene.repo.git({"cat-file", "-e", QString::fromStdString(strangers)});
        clone = scene.repo.open();
        const auto restored = without([&] { return restorePush(clone, again->entry.id, m_access); });
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        QCOMPARE(findEntry(clone, again->entry.id)->state, EntryState::TakenBack);
        const auto gone =
            without([&] { return deleteRemoteBranch(clone, "origin", "topic/x", oid(strangers), m_access); });
        QVERIFY2(gone, whyNot(gone).c_str());
        QCOMPARE(scene.forkAt("topic/x"), std::string());
        QVERIFY(scene.repo.tryGit({"rev-parse", "--verify", "--quiet", "refs/remotes/origin/topic/x"}).exitCode != 0);
        const auto back = without([&] { return restorePush(clone, gone->entry.id, m_access); });
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        scene.checkSound();
        QCOMPARE(m_hosts > 0, way != int(Way::Daemon));
        QCOMPARE(m_logins > 0, way == int(Way::Login));
    }

    // The stranger is faster than the connection that pushes: between what was looked at and what this connection shows. The hook
    // runs in between.
    void aStrangerInBetween_data() { ways(); }
    void aStrangerInBetween()
    {
        QFETCH(int, way);
        if (const QString missing = begin(Way(way)); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        RemoteScene& scene = *m_scene;
        scene.replayTopic();
        const std::string strangers = scene.strangerPushes();
        scene.gitIn(scene.fork, {"update-ref", "refs/heads/topic/x", QString::fromStdString(scene.topic[1])});
        scene.writeScript(scene.repo.path() + "/.git/hooks/pre-push",
                          "#!/bin/sh\nprintf '%s\\n' " + QByteArray::fromStdString(strangers) + " >'" +
                              scene.fork.toUtf8() + "/refs/heads/topic/x'\n");
        const auto pushed =
            without([&] { return push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])}, m_access); });
        QVERIFY(!pushed);
        QCOMPARE(pushed.error().kind, ErrorKind::Refused);
        QVERIFY2(pushed.error().line().contains("moved since it was looked at"), pushed.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), strangers);
        QVERIFY(entries().empty());
    }

    // A clone from an address with a login: it works, nobody is asked, and it is not written down.
    void aCloneKeepsNoSecret()
    {
        if (const QString missing = begin(Way::Login); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        const QString into = m_scene->repo.outside() + "/new";
        const QString server = QStringLiteral("https://%1:%2@127.0.0.1:%3/git/private/")
                                   .arg(WebServer::token, WebServer::secret)
                                   .arg(m_server->port());
        const auto cloneOf = [&](const char* name) {
            return without(
                [&] { return cloneRepository((server + name).toStdString(), into.toStdString(), m_access); });
        };
        const auto none = cloneOf("nowhere.git");
        QVERIFY(!none);
        QVERIFY2(!none.error().line().contains(WebServer::token) && !none.error().line().contains(WebServer::secret),
                 none.error().line().c_str());
        const auto cloned = cloneOf("fork.git");
        QVERIFY2(cloned, whyNot(cloned).c_str());
        QCOMPARE(m_logins, 0);
        QCOMPARE(m_scene->gitIn(into, {"rev-parse", "refs/remotes/origin/topic/x"}), m_scene->topic[1]);
        QDirIterator all(into, QDir::Files | QDir::Hidden, QDirIterator::Subdirectories);
        while (all.hasNext()) {
            QFile file(all.next());
            QVERIFY(file.open(QIODevice::ReadOnly));
            const QByteArray bytes = file.readAll();
            QVERIFY2(!bytes.contains(WebServer::token) && !bytes.contains(WebServer::secret),
                     qPrintable(file.fileName()));
        }
    }

    void theServerSaysNo_data() { ways(); }
    void theServerSaysNo()
    {
        QFETCH(int, way);
        if (const QString missing = begin(Way(way)); !missing.isEmpty())
            QSKIP(qPrintable(missing));
        RemoteScene& scene = *m_scene;
        scene.writeScript(scene.fork + "/hooks/pre-receive",
                          "#!/bin/sh\necho 'the fork \033[31msays no: <b>sign off</b>' >&2\nexit 1\n");
        scene.replayTopic();
        const auto pushed =
            without([&] { return push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])}, m_access); });
        QVERIFY(!pushed);
        QCOMPARE(pushed.error().kind, ErrorKind::Refused);
        const std::string line = pushed.error().line();
        QVERIFY2(line.contains("says no: <b>sign off</b>") && line.contains("pre-receive hook declined"), line.c_str());
        QVERIFY(!line.contains('\033'));
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QVERIFY(entries().empty());
    }
};

QTEST_GUILESS_MAIN(TestPushWithoutGit)
#include "test_push_without_git.moc"

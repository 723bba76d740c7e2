// SPDX-License-Identifier: MIT
// Logins over https against a stock web server on this machine: helpers, what is typed, what stands in an address; and a secret is
// nowhere to be read.
#include "core/history/places.h"
#include "core/keep/logbook.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/web_scene.h"
#include "tests/support/why_not.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr char wrongSecret[] = "hunter2-is-not-it";

} // namespace

class TestHttpsLogins : public QObject, private WebScene {
    Q_OBJECT

    static QString withLoginIn(QString url, const QString& login)
    {
        return login.isEmpty() ? url : url.replace("https://", "https://" + login + '@');
    }
    // A file of settings with this clone's helper, for where there is no clone yet.
    QByteArray helperForAll() const
    {
        QFile settings(file("settings"));
        if (QFile::exists(file("helper")) && settings.open(QIODevice::WriteOnly))
            settings.write("[credential]\n\thelper = " + file("helper").toUtf8() + '\n');
        return settings.fileName().toUtf8();
    }

  private Q_SLOTS:
    void init()
    {
        if (const QString why = WebServer::missing(); !why.isEmpty())
            QSKIP(qPrintable(why));
        begin();
    }
    void cleanup() { end(); }

    // Helpers are git's own affair: they get the path where credential.useHttpPath says so, and are told what worked.
    void helpers()
    {
        serve("git/private");
        useHelper(WebServer::secret);
        m_scene->repo.git({"config", "credential.useHttpPath", "true"});
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QVERIFY(contents(file("helper.log")).contains("store"));
        QVERIFY(contents(file("helper.asked")).contains("path=git/private/upstream.git"));
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->replayed[1]);
        QVERIFY(contents(file("helper.asked")).contains("path=git/private/fork.git"));
        QVERIFY(whereWritten(WebServer::secret, {m_scene->repo.path()}).isEmpty());
    }

    void aWrongPasswordIsOneClearLine()
    {
        serve("git/private");
        useHelper(wrongSecret);
        m_scene->replayTopic();
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!fetched);
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])});
        QVERIFY(!pushed);
        for (const Error& error : {fetched.error(), pushed.error()}) {
            const std::string line = error.line();
            QVERIFY2(line.contains("Check your login"), line.c_str());
            QVERIFY2(!line.contains(wrongSecret) && !line.contains('\n'), line.c_str());
        }
        QVERIFY(contents(file("helper.log")).contains("erase"));
        QVERIFY(!contents(file("helper.log")).contains("store"));
        QVERIFY(whereWritten(wrongSecret, {m_scene->repo.path()}).isEmpty());
        QVERIFY(readLogbook(m_scene->repo.open())->empty());
    }

    // Typed into the window: asked once for one piece of work, and again when it was wrong.
    void typedLogins()
    {
        serve("git/private");
        int asked = 0;
        Access access;
        access.sshCarrier = ESPALIER_PROGRAM;
        access.askLogin = [&](const std::string& url, const std::string& name) {
            QTest::qVerify(url.starts_with("https://127.0.0.1:") && name.empty(), url.c_str(), "", __FILE__, __LINE__);
            return std::optional(Login{WebServer::user, ++asked == 1 ? wrongSecret : WebServer::secret});
        };
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, access);
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(asked, 2);
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->replayed[1]);
        QVERIFY(whereWritten(WebServer::secret, {m_scene->repo.path()}).isEmpty());
        access.askLogin = [](const std::string&, const std::string&) { return std::optional<Login>(); };
        const auto refused = fetchRemote(m_scene->repo.open(), "upstream", access);
        QVERIFY(!refused);
        QVERIFY2(refused.error().line().contains("wants a login"), refused.error().line().c_str());
    }

    // A password in an address: it works, and is in no file, no line and no argument of any program that git starts.
    void aSecretInTheAddress()
    {
        serve("git/private");
        const QString login = QStringLiteral("https://%1:%2@").arg(WebServer::user, WebServer::secret);
        const auto withLogin = [&](const QString& path) {
            return m_server->url(path, "git/private").replace("https://", login);
        };
        m_scene->repo.git({"remote", "set-url", "origin", withLogin(m_scene->fork)});
        QFile::remove(m_trace);
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(fetchRemote(m_scene->repo.open(), "origin"));
        QVERIFY(!contents(m_trace).isEmpty());
        QVERIFY(!contents(m_trace).contains(WebServer::secret));
        QVERIFY(!contents(m_scene->repo.path() + "/.git/FETCH_HEAD").contains(WebServer::secret));
        qputenv("GIT_SSL_CAINFO", m_server->authority().toUtf8());
        const std::filesystem::path into = file("new-clone").toStdString();
        const auto cloned = cloneRepository(withLogin(m_scene->fork).toStdString(), into);
        qunsetenv("GIT_SSL_CAINFO");
        QVERIFY2(cloned, whyNot(cloned).c_str());
        QCOMPARE(m_scene->gitIn(file("new-clone"), {"rev-parse", "refs/remotes/origin/topic/x"}), m_scene->replayed[1]);
        QVERIFY(whereWritten(WebServer::secret, {file("new-clone")}).isEmpty());
    }

    // A name that stands alone in an address may be a token; a rule of the settings may put one in. It is hidden as a password
    // is: from arguments, files, hooks and lines.
    void aTokenInTheAddress_data()
    {
        QTest::addColumn<QString>("login");
        QTest::addColumn<QString>("rule"); // what it replaces; "address": the server's own address; none: no rule
        QTest::addColumn<bool>("asked");
        const QString token = QLatin1String(WebServer::token), both = token + ':' + QLatin1String(WebServer::secret);
        QTest::newRow("alone, a helper has the password") << token << "" << false;
        QTest::newRow("alone, the password is asked for") << token << "" << true;
        QTest::newRow("with a password") << both << "" << false;
        QTest::newRow("alone, put in by a rule") << token << "address" << false;
        QTest::newRow("with a password, put in by a rule") << both << "address" << false;
        QTest::newRow("with a password, put in by a rule for a short name") << both << "forge:" << false;
    }
    void aTokenInTheAddress()
    {
        QFETCH(QString, login);
        QFETCH(QString, rule);
        QFETCH(bool, asked);
        serve("git/private");
        const QString server = m_server->url({}, "git/private"), withLogin = withLoginIn(server, login);
        if (rule == "address")
            rule = server;
        for (const auto& [name, folder] : {std::pair("origin", m_scene->fork), {"upstream", m_scene->upstream}})
            m_scene->repo.git(
                {"remote", "set-url", name, (rule.isEmpty() ? withLogin : rule) + QFileInfo(folder).fileName()});
        if (!rule.isEmpty())
            m_scene->repo.git({"config", "url." + withLogin + ".insteadOf", rule});
        if (!asked)
            useHelper(WebServer::secret, WebServer::token);
        QStringList asks;
        Access access;
        if (asked) {
            access.sshCarrier = ESPALIER_PROGRAM;
            access.askLogin = [&](const std::string& url, const std::string& name) {
                asks << QString::fromStdString(url + ' ' + name);
                return std::optional(Login{name, WebServer::secret});
            };
        }
        m_scene->writeScript(m_scene->repo.path() + "/.git/hooks/pre-push", "#!/bin/sh\necho \"$@\" >.git/pushed\n");
        QFile::remove(m_trace);
        m_scene->replayTopic();
        QVERIFY(!push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->main)}, access));
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, access);
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->replayed[1]);
        const std::string strangers = m_scene->strangerPushes();
        const auto late = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, access);
        QVERIFY(!late);
        const auto updated = bringUpToDate(m_scene->repo.open(), access);
        QVERIFY2(updated, whyNot(updated).c_str());
        QVERIFY(!updated->notPushed);
        const auto again = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(strangers)}, access);
        QVERIFY2(again, whyNot(again).c_str());
        const auto back = restorePush(m_scene->repo.open(), again->entry.id, access);
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), strangers);
        QCOMPARE(asks.isEmpty(), !asked);
        for (const QString& ask : asks)
            QCOMPARE(ask, QStringLiteral("https://127.0.0.1:%1 %2").arg(m_server->port()).arg(WebServer::token));

        std::string said = late.error().line();
        for (const FetchReport& fetched : updated->fetched)
            said += '\n' + fetched.line();
        for (const auto& lines : {updated->lines, pushed->notices, again->notices, back->notices})
            for (const std::string& line : lines)
                said += '\n' + line;
        for (const Remote& remote : readRemotes(m_scene->repo.open()))
            said += '\n' + remote.url + '\n' + remote.pushUrl;
        QVERIFY2(!said.contains(WebServer::token) && !said.contains(WebServer::secret), said.c_str());
        QVERIFY(contents(m_trace).contains("git-remote-https") && QFile::exists(m_scene->repo.path() + "/.git/pushed"));
        QVERIFY(contents(m_scene->repo.path() + "/.git/FETCH_HEAD").contains("127.0.0.1"));
        for (const char* word : {WebServer::token, WebServer::secret})
            QCOMPARE(whereWritten(word, {m_scene->repo.path() + "/.git", m_scene->fork, m_scene->upstream}), QString());

        qputenv("GIT_SSL_CAINFO", m_server->authority().toUtf8());
        const QByteArray settings = qgetenv("GIT_CONFIG_GLOBAL");
        qputenv("GIT_CONFIG_GLOBAL", helperForAll());
        const std::filesystem::path into = file("new-clone").toStdString();
        const auto cloned = cloneRepository((withLogin + "fork.git").toStdString(), into, access);
        qputenv("GIT_CONFIG_GLOBAL", settings);
        qunsetenv("GIT_SSL_CAINFO");
        QVERIFY2(cloned, whyNot(cloned).c_str());
        for (const char* word : {WebServer::token, WebServer::secret})
            QCOMPARE(whereWritten(word, {file("new-clone")}), QString());
    }

    // The same where it goes wrong: what is said then is clear, and hides it.
    void aTokenIsInNoErrorLine_data()
    {
        QTest::addColumn<QString>("login");
        QTest::addColumn<QByteArray>("gives"); // what the helper has; nothing: no helper
        QTest::addColumn<bool>("window");
        QTest::addColumn<QString>("more");
        QTest::addColumn<QString>("said");
        const QString token = QLatin1String(WebServer::token);
        QTest::newRow("nobody knows the password") << token << QByteArray() << false << "" << "wants a login";
        QTest::newRow("the person does not tell it") << token << QByteArray() << true << "" << "wants a login";
        QTest::newRow("the helper's is wrong") << token << QByteArray(wrongSecret) << false << "" << "Check your login";
        QTest::newRow("the address's is wrong") << token + ':' + wrongSecret << QByteArray() << false << ""
                                                << "Check your login";
        QTest::newRow("no such repository") << token + ':' + WebServer::secret << QByteArray() << false << "x"
                                            << "Check the address";
        QTest::newRow("a query") << "" << QByteArray() << false << "?private_token=" + token << "";
    }
    void aTokenIsInNoErrorLine()
    {
        QFETCH(QString, login);
        QFETCH(QByteArray, gives);
        QFETCH(bool, window);
        QFETCH(QString, more);
        QFETCH(QString, said);
        serve("git/private");
        const QString address = withLoginIn(m_server->url(m_scene->fork, "git/private"), login) + more;
        m_scene->repo.git({"remote", "set-url", "origin", address});
        if (!gives.isEmpty())
            useHelper(gives.constData(), WebServer::token);
        Access access;
        if (window) {
            access.sshCarrier = ESPALIER_PROGRAM;
            access.askLogin = [](const std::string&, const std::string&) { return std::optional<Login>(); };
        }
        QFile::remove(m_trace);
        const auto fetched = fetchRemote(m_scene->repo.open(), "origin", access);
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, access);
        const auto cloned = cloneRepository(address.toStdString(), file("new-clone").toStdString(), access);
        QVERIFY(!fetched && !pushed && !cloned);
        for (const Error& error : {fetched.error(), pushed.error(), cloned.error()}) {
            const std::string line = error.line();
            QVERIFY2(!line.contains(WebServer::token) && !line.contains(wrongSecret) && !line.contains("printf"),
                     line.c_str());
        }
        QVERIFY2(fetched.error().line().contains(said.toStdString()), fetched.error().line().c_str());
        QVERIFY2(pushed.error().line().contains(said.toStdString()), pushed.error().line().c_str());
        // git itself needs a query in its helper's arguments; nobody else.
        if (more.startsWith('?'))
            m_trace.clear();
        for (const char* word : {WebServer::token, WebServer::secret, wrongSecret})
            QCOMPARE(whereWritten(word, {m_scene->repo.path() + "/.git"}), QString());
    }
};

QTEST_GUILESS_MAIN(TestHttpsLogins)
#include "test_https_logins.moc"

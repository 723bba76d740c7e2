// SPDX-License-Identifier: MIT
// Fetch, clone and push over https against a stock web server on this machine with git's own http-backend: certificates,
// redirects, proxies and headers hold as the user has set them up for git. (Logins are in test_https_logins.)
#include "core/git/sha256.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/loopback_proxy.h"
#include "tests/support/web_scene.h"
#include "tests/support/why_not.h"

#include <QCryptographicHash>
#include <QDir>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestHttps : public QObject, private WebScene {
    Q_OBJECT

    // A folder with all that the rows of settings() name.
    QString makeHome() const
    {
        const QString home = m_scene->repo.outside() + "/home";
        const QByteArray start = "#!/bin/sh\n", secret = WebServer::secret, user = WebServer::user;
        m_scene->writeScript(home + "/wrong-helper", start + "[ $1 != get ] || printf 'username=x\\npassword=x\\n'\n");
        m_scene->writeScript(home + "/helper",
                             start + "[ $1 != get ] || printf 'username=" + user + "\\npassword=" + secret + "\\n'\n");
        // Knows a password for a name, and tells no name.
        m_scene->writeScript(home + "/keys", start + "[ $1 != get ] || ! grep -qx username=" + user +
                                                 " || printf 'password=" + secret + "\\n'\n");
        m_scene->writeScript(home + "/ask",
                             start + "case \"$1\" in Username*) echo " + user + " ;; *) echo " + secret + " ;; esac\n");
        m_scene->writeScript(home + "/cookies", "# Netscape HTTP Cookie File\n127.0.0.1\tFALSE\t/\tTRUE\t"
                                                "2147483647\ttide\thigh\n");
        QDir().mkpath(home + "/authorities");
        QFile::copy(m_server->authority(), home + "/cert.pem");
        QFile::copy(m_server->authority(), home + "/authorities/forge.pem");
        runProgram("openssl", {"rehash", home + "/authorities"}, home);
        return home;
    }
    // A new version of the topic, and whether the fork gets it.
    void pushTopic(bool arrives)
    {
        const std::string before = m_scene->forkAt("topic/x");
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(before)});
        const std::string now = m_scene->forkAt("topic/x");
        const std::string wanted = arrives ? m_scene->repo.git({"rev-parse", "topic/x"}) : before;
        if (pushed.has_value() != arrives || now != wanted)
            QTest::qFail(("the push: " + whyNot(pushed)).c_str(), __FILE__, __LINE__);
    }

  private Q_SLOTS:
    void init()
    {
        if (const QString why = WebServer::missing(); !why.isEmpty())
            QSKIP(qPrintable(why));
        begin();
    }
    void cleanup() { end(); }

    // FIPS 180-4's own examples (NIST, SHA-256 example messages), and a length beside a block's end.
    void sums_data()
    {
        QTest::addColumn<QByteArray>("text");
        QTest::newRow("empty") << QByteArray();
        QTest::newRow("abc") << QByteArray("abc");
        QTest::newRow("two blocks") << QByteArray("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq");
        for (const int size : {55, 56, 63, 64, 65, 119, 120})
            QTest::newRow(qPrintable(QString::number(size))) << QByteArray(size, 'x');
    }
    void sums()
    {
        QFETCH(QByteArray, text);
        // The reference for the sum: Qt's.
        QByteArray reference = QCryptographicHash::hash(text, QCryptographicHash::Sha256).toHex(':').toUpper();
        QCOMPARE(fingerprintOf(text.toStdString()), reference.toStdString());
        if (text == "abc")
            QVERIFY(reference.startsWith("BA:78:16:BF"));
    }

    // An RSA certificate over TLS 1.2, which libgit2 does not connect to.
    void olderServers()
    {
        serve("git/open", WebServer::Certificate::Good, "TLSv1.2");
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
    }

    // What is wrong with a certificate is said as what it is, and nothing is trusted in silence.
    void certificates_data()
    {
        QTest::addColumn<int>("certificate");
        QTest::addColumn<bool>("authority");
        QTest::addColumn<QString>("said");
        QTest::newRow("expired") << int(WebServer::Certificate::Expired) << true << "has expired";
        QTest::newRow("other host") << int(WebServer::Certificate::OtherHost) << true << "is for another host";
        QTest::newRow("nobody's") << int(WebServer::Certificate::Good) << false << "is not trusted";
    }
    void certificates()
    {
        QFETCH(int, certificate);
        QFETCH(bool, authority);
        QFETCH(QString, said);
        serve("git/open", WebServer::Certificate(certificate));
        if (!authority)
            m_scene->repo.git(
                {"config", "--unset", QStringLiteral("http.https://127.0.0.1:%1/.sslCAInfo").arg(m_server->port())});
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        QVERIFY2(line.contains("the certificate of the server " + said.toStdString()), line.c_str());
        QVERIFY(m_scene->repo.git({"for-each-ref", "refs/remotes"}).empty());
    }

    // Two repositories of one run, each with its own authorities (they once were the whole process's).
    void authoritiesStayTheirRepositorys()
    {
        serve("git/open");
        const QString second = m_scene->repo.outside() + "/second";
        m_scene->repo.git({"clone", "--quiet", m_scene->fork, second});
        m_scene->gitIn(second, {"remote", "set-url", "origin", m_server->url(m_scene->fork)});
        QVERIFY(fetchRemote(m_scene->repo.open(), "origin"));
        const auto other = fetchRemote(*Repository::open(second.toStdString()), "origin");
        QVERIFY(!other);
        QVERIFY2(other.error().line().contains("is not trusted"), other.error().line().c_str());
    }

    void redirects()
    {
        serve("moved");
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        pushTopic(true);
        m_scene->repo.git({"config", "http.followRedirects", "false"});
        m_scene->repo.git({"update-ref", "-d", "refs/remotes/upstream/main"});
        QVERIFY(!fetchRemote(m_scene->repo.open(), "upstream"));
        pushTopic(false);
    }

    void extraHeaders()
    {
        serve("git/header");
        const auto without = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!without);
        QVERIFY2(without.error().line().contains("403"), without.error().line().c_str());
        pushTopic(false);
        m_scene->repo.git({"config", "http.extraHeader", "X-Forge: yes"});
        const auto with = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(with, whyNot(with).c_str());
        pushTopic(true);
    }

    // Through the proxy that the user has set, and not beside it.
    void proxies()
    {
        serve("git/open");
        Proxy proxy;
        m_scene->repo.git({"config", "http.proxy", QStringLiteral("http://127.0.0.1:%1").arg(proxy.port())});
        qputenv("no_proxy", "");
        qputenv("NO_PROXY", "");
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QVERIFY(proxy.carried() > 0);
        m_scene->replayTopic();
        const int before = proxy.carried();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QVERIFY(proxy.carried() > before);
        proxy.stop();
        const auto without = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!without);
        QVERIFY2(without.error().line().contains(std::to_string(proxy.port())) &&
                     without.error().line().contains("http.proxy"),
                 without.error().line().c_str());
    }

    // A server that wants to see a certificate gets the user's.
    void clientCertificates()
    {
        serve("git/open", WebServer::Certificate::Good, "TLSv1.3", true);
        const auto without = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!without);
        m_scene->repo.git({"config", "http.sslCert", m_server->clientCertificate()});
        m_scene->repo.git({"config", "http.sslKey", m_server->clientKey()});
        const auto with = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(with, whyNot(with).c_str());
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
    }

    // What people set, each as it stands in git's own pages (git-config(1), gitcredentials(7), curl(1) for the proxy's variables):
    // without it nothing goes, with it a fetch and a push do.
    void settings_data()
    {
        // @server@: the server's scheme, host and port; @home@: a home folder with the server's certificate; @proxy@: a proxy.
        QTest::addColumn<QString>("below");
        QTest::addColumn<QStringList>("config");      // key, value, key, value …
        QTest::addColumn<QStringList>("environment"); // the same
        QTest::addColumn<QString>(
            "kind"); // "authority": none is known but by the setting; "proxy"; "past it"; "window"
        const QStringList none;
        QTest::newRow("cookies") << "git/cookie" << QStringList{"http.cookieFile", "@home@/cookies"} << none << "";
        QTest::newRow("sslVerify") << "git/open" << QStringList{"http.sslVerify", "false"} << none << "authority";
        QTest::newRow("sslCAPath") << "git/open" << QStringList{"http.sslCAPath", "@home@/authorities"} << none
                                   << "authority";
        QTest::newRow("a path from home") << "git/open" << QStringList{"http.sslCAInfo", "~/cert.pem"}
                                          << QStringList{"HOME", "@home@"} << "authority";
        QTest::newRow("GIT_SSL_CAINFO") << "git/open" << none << QStringList{"GIT_SSL_CAINFO", "@home@/cert.pem"}
                                        << "authority";
        QTest::newRow("ALL_PROXY") << "git/open" << none << QStringList{"ALL_PROXY", "@proxy@", "NO_PROXY", ""}
                                   << "proxy";
        QTest::newRow("http.<address>.proxy")
            << "git/open" << QStringList{"http.@server@/.proxy", "@proxy@"} << QStringList{"NO_PROXY", ""} << "proxy";
        QTest::newRow("a network in NO_PROXY")
            << "git/open" << none << QStringList{"ALL_PROXY", "@proxy@", "NO_PROXY", "10.0.0.0/8,127.0.0.0/8"}
            << "past it";
        QTest::newRow("another network in NO_PROXY")
            << "git/open" << none << QStringList{"ALL_PROXY", "@proxy@", "NO_PROXY", "10.0.0.0/8"} << "proxy";
        QTest::newRow("a helper for the server")
            << "git/private"
            << QStringList{"credential.https://127.0.0.1:1.helper", "@home@/wrong-helper", "credential.@server@.helper",
                           "@home@/helper"}
            << none << "";
        QTest::newRow("a helper for a path") << "git/private"
                                             << QStringList{"credential.useHttpPath",
                                                            "true",
                                                            "credential.@server@/git/other.helper",
                                                            "@home@/wrong-helper",
                                                            "credential.@server@/git/private.helper",
                                                            "@home@/helper"}
                                             << none << "";
        QTest::newRow("a helper for a pattern")
            << "git/private"
            << QStringList{"credential.https://*.0.0.1:1.helper", "@home@/wrong-helper", "credential.@pattern@.helper",
                           "@home@/helper"}
            << none << "";
        QTest::newRow("credential.username")
            << "git/private" << QStringList{"credential.username", WebServer::user, "credential.helper", "@home@/keys"}
            << none << "";
        QTest::newRow("GIT_ASKPASS, before the window")
            << "git/private" << none << QStringList{"GIT_ASKPASS", "@home@/ask"} << "window";
        QTest::newRow("core.askPass, before the window")
            << "git/private" << QStringList{"core.askPass", "@home@/ask"} << none << "window";
        QTest::newRow("SSH_ASKPASS, before the window")
            << "git/private" << none << QStringList{"SSH_ASKPASS", "@home@/ask"} << "window";
    }
    void settings()
    {
        QFETCH(QString, below);
        QFETCH(QStringList, config);
        QFETCH(QStringList, environment);
        QFETCH(QString, kind);
        serve(below.toUtf8().constData());
        const Proxy proxy;
        const QString server = QStringLiteral("https://127.0.0.1:%1").arg(m_server->port()), home = makeHome();
        for (QStringList* list : {&config, &environment})
            list->replaceInStrings("@server@", server)
                .replaceInStrings("@pattern@", QStringLiteral("https://*.0.0.1:%1").arg(m_server->port()))
                .replaceInStrings("@home@", home)
                .replaceInStrings("@proxy@", QStringLiteral("http://127.0.0.1:%1").arg(proxy.port()));
        if (kind == "authority")
            m_scene->repo.git({"config", "--unset", "http." + server + "/.sslCAInfo"});
        const bool isProxy = kind == "proxy" || kind == "past it";
        if (!isProxy) {
            QVERIFY(!fetchRemote(m_scene->repo.open(), "upstream"));
            pushTopic(false);
        }
        for (qsizetype i = 0; i + 1 < config.size(); i += 2)
            m_scene->repo.git({"config", config[i], config[i + 1]});
        std::map<QByteArray, QByteArray> before;
        for (qsizetype i = 0; i + 1 < environment.size(); i += 2) {
            before[environment[i].toUtf8()] = qgetenv(environment[i].toUtf8().constData());
            qputenv(environment[i].toUtf8().constData(), environment[i + 1].toUtf8());
        }
        int asked = 0;
        Access access;
        if (kind == "window") {
            access.sshCarrier = ESPALIER_PROGRAM;
            access.askLogin = [&asked](const std::string&, const std::string&) {
                ++asked;
                return std::optional<Login>();
            };
        }
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream", access);
        m_scene->replayTopic();
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, access);
        for (const auto& [name, value] : before)
            value.isNull() ? qunsetenv(name.constData()) : qputenv(name.constData(), value);
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->repo.git({"rev-parse", "topic/x"}));
        QCOMPARE(proxy.carried() > 0, kind == "proxy");
        QCOMPARE(asked, 0);
    }

    void aProxyThatRefuses()
    {
        serve("git/open");
        const Proxy proxy(Proxy::Answer::Forbidden);
        m_scene->repo.git({"config", "http.proxy", QStringLiteral("http://127.0.0.1:%1").arg(proxy.port())});
        qputenv("no_proxy", "");
        qputenv("NO_PROXY", "");
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        QVERIFY2(line.contains("the proxy did not let it through") && line.contains("403"), line.c_str());
        QCOMPARE(proxy.carried(), 0);
    }
};

QTEST_GUILESS_MAIN(TestHttps)
#include "test_https.moc"

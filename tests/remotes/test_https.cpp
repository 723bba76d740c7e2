// SPDX-License-Identifier: MIT
// Fetch, clone and push over https against a stock web server on this machine with git's own http-backend: certificates, logins,
// redirects and headers hold as the user has set them up for git, and a secret is nowhere to be read.
#include "core/git/sha256.h"
#include "core/keep/logbook.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/real_servers.h"

#include <QCryptographicHash>
#include <QDirIterator>
#include <QtTest/QtTest>

#include <atomic>
#include <csignal>
#include <thread>

#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr char wrongSecret[] = "hunter2-is-not-it";

// A proxy on loopback that carries what CONNECT asks for (RFC 9110, 9.3.6) to this machine, on a thread of its own.
class Proxy {
  public:
    enum class Answer { Carries, Forbidden };
    explicit Proxy(Answer answer = Answer::Carries) : m_answer(answer)
    {
        m_listens = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in at{};
        at.sin_family = AF_INET;
        at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t size = sizeof at;
        if (::bind(m_listens, reinterpret_cast<sockaddr*>(&at), size) < 0 || ::listen(m_listens, 16) < 0 ||
            ::getsockname(m_listens, reinterpret_cast<sockaddr*>(&at), &size) < 0)
            qFatal("no proxy can be made");
        m_port = ntohs(at.sin_port);
        // A child's end is told by a signal, and that must not end what a thread of the proxy is doing.
        sigset_t all, before;
        sigfillset(&all);
        pthread_sigmask(SIG_SETMASK, &all, &before);
        m_thread = std::jthread([this] { accept(); });
        pthread_sigmask(SIG_SETMASK, &before, nullptr);
    }
    ~Proxy() { stop(); }
    Proxy(const Proxy&) = delete;
    int port() const { return m_port; }
    int carried() const { return m_carried; }
    void stop()
    {
        ::shutdown(m_listens, SHUT_RDWR);
        if (m_thread.joinable())
            m_thread.join();
        if (m_listens >= 0)
            ::close(std::exchange(m_listens, -1));
    }

  private:
    void accept()
    {
        std::vector<std::jthread> all;
        for (;;) {
            const int client = ::accept4(m_listens, nullptr, nullptr, SOCK_CLOEXEC);
            if (client >= 0)
                all.emplace_back([this, client] { carry(client); });
            else if (errno != EINTR)
                return;
        }
    }
    void carry(int client)
    {
        std::string asked;
        for (char byte; !asked.ends_with("\r\n\r\n") && ::read(client, &byte, 1) == 1;)
            asked += byte;
        const std::size_t colon = asked.find(':');
        sockaddr_in at{};
        at.sin_family = AF_INET;
        at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        at.sin_port = htons(std::uint16_t(colon == std::string::npos ? 0 : std::atoi(asked.c_str() + colon + 1)));
        const int server = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        constexpr std::string_view yes = "HTTP/1.1 200 Connection established\r\n\r\n",
                                   no = "HTTP/1.1 403 Forbidden\r\nContent-Length: 0\r\n\r\n";
        if (m_answer == Answer::Forbidden)
            std::ignore = ::write(client, no.data(), no.size());
        else if (asked.starts_with("CONNECT ") && ::connect(server, reinterpret_cast<sockaddr*>(&at), sizeof at) == 0 &&
                 ::write(client, yes.data(), yes.size()) == ssize_t(yes.size())) {
            ++m_carried;
            pump(client, server);
        }
        ::close(server);
        ::close(client);
    }
    static void pump(int one, int other)
    {
        pollfd both[]{{one, POLLIN, 0}, {other, POLLIN, 0}};
        for (char part[1 << 14]; ::poll(both, 2, -1) > 0;)
            for (const auto& [from, to] : {std::pair(0, 1), std::pair(1, 0)}) {
                if (!both[from].revents)
                    continue;
                const ssize_t got = ::read(both[from].fd, part, sizeof part);
                if (got <= 0 || ::send(both[to].fd, part, std::size_t(got), MSG_NOSIGNAL) != got)
                    return;
            }
    }
    Answer m_answer;
    int m_listens = -1, m_port = 0;
    std::atomic<int> m_carried = 0;
    std::jthread m_thread;
};

template <typename T> std::string whyNot(const Result<T>& result)
{
    return result ? std::string("it was done") : result.error().line();
}

} // namespace

class TestHttps : public QObject {
    Q_OBJECT

    std::unique_ptr<RemoteScene> m_scene;
    std::unique_ptr<WebServer> m_server;
    QString m_trace;

    QString file(const char* name) const { return m_scene->repo.outside() + QLatin1Char('/') + QLatin1String(name); }
    void serve(const char* below, WebServer::Certificate certificate = WebServer::Certificate::Good,
               const QByteArray& protocol = "TLSv1.3", bool asksForCertificate = false)
    {
        m_server = std::make_unique<WebServer>(m_scene->repo.outside(), certificate, protocol, asksForCertificate);
        m_server->use(*m_scene, below);
    }
    // A helper that writes down what it is asked.
    void useHelper(const char* password) const
    {
        m_scene->writeScript(file("helper"), "#!/bin/sh\necho \"$1\" >>'" + file("helper.log").toUtf8() +
                                                 "'\ntee -a '" + file("helper.asked").toUtf8() +
                                                 "' >/dev/null\n[ \"$1\" != get ] || printf 'username=" +
                                                 WebServer::user + "\\npassword=" + password + "\\n'\n");
        m_scene->repo.git({"config", "credential.helper", file("helper")});
    }
    static QByteArray contents(const QString& path)
    {
        QFile in(path);
        return in.open(QIODevice::ReadOnly) ? in.readAll() : QByteArray();
    }
    // Whether some file of the clone, or the list of all the programs that git started with their arguments, has the word.
    bool isWrittenSomewhere(const QByteArray& word, const QString& clone) const
    {
        QDirIterator all(clone, QDir::Files | QDir::Hidden | QDir::NoDotAndDotDot, QDirIterator::Subdirectories);
        while (all.hasNext())
            if (contents(all.next()).contains(word))
                return true;
        return contents(m_trace).contains(word);
    }

  private Q_SLOTS:
    void init()
    {
        if (const QString why = WebServer::missing(); !why.isEmpty())
            QSKIP(qPrintable(why));
        m_scene = std::make_unique<RemoteScene>();
        m_trace = file("trace");
        qputenv("GIT_TRACE", m_trace.toUtf8());
    }
    void cleanup()
    {
        qunsetenv("GIT_TRACE");
        m_server.reset();
        m_scene.reset();
    }

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
        m_scene->repo.git({"config", "http.followRedirects", "false"});
        m_scene->repo.git({"update-ref", "-d", "refs/remotes/upstream/main"});
        QVERIFY(!fetchRemote(m_scene->repo.open(), "upstream"));
    }

    void extraHeaders()
    {
        serve("git/header");
        const auto without = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY(!without);
        QVERIFY2(without.error().line().contains("403"), without.error().line().c_str());
        m_scene->repo.git({"config", "http.extraHeader", "X-Forge: yes"});
        const auto with = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(with, whyNot(with).c_str());
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
        QVERIFY(!isWrittenSomewhere(WebServer::secret, m_scene->repo.path()));
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
        QVERIFY(!isWrittenSomewhere(wrongSecret, m_scene->repo.path()));
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
        QVERIFY(!isWrittenSomewhere(WebServer::secret, m_scene->repo.path()));
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
        QVERIFY(!isWrittenSomewhere(WebServer::secret, file("new-clone")));
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

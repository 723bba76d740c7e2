// SPDX-License-Identifier: MIT
// Fetch, clone and push over https against a server on this machine: git's own http-backend behind a certificate that
// nobody vouches for, with a login. Skipped where openssl, python3 or http-backend are missing.
#include "core/git/sha256.h"
#include "core/keep/logbook.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"

#include <QDirIterator>
#include <QProcess>
#include <QStandardPaths>
#include <QtTest>

#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
using test::RemoteScene;
using test::runProgram;

namespace {

constexpr int patience = 20000;
constexpr char user[] = "mira";
constexpr char secret[] = "correct horse battery staple";
constexpr char wrongSecret[] = "hunter2-is-not-it";

// CGI as RFC 3875 has it, for git-http-backend(1); a login (RFC 7617) is asked for everything.
constexpr char serverScript[] = R"(
import base64, http.server, os, ssl, subprocess, sys
root, certificate, key, backend, login = sys.argv[1:6]

class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def body(self):
        if self.headers.get("Transfer-Encoding", "") != "chunked":
            return self.rfile.read(int(self.headers.get("Content-Length", 0)))
        whole = b""
        while True:
            size = int(self.rfile.readline().split(b";")[0], 16)
            whole += self.rfile.read(size)
            self.rfile.readline()
            if size == 0:
                return whole

    def answer(self):
        body = self.body()
        given = self.headers.get("Authorization", "")
        if given != "Basic " + base64.b64encode(login.encode()).decode():
            self.send_response(401)
            self.send_header("WWW-Authenticate", 'Basic realm="test"')
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        path, _, query = self.path.partition("?")
        environment = dict(os.environ, GIT_PROJECT_ROOT=root, GIT_HTTP_EXPORT_ALL="1", PATH_INFO=path, QUERY_STRING=query,
                           REQUEST_METHOD=self.command, CONTENT_TYPE=self.headers.get("Content-Type", ""),
                           CONTENT_LENGTH=str(len(body)), REMOTE_USER=login.split(":")[0],
                           GIT_PROTOCOL=self.headers.get("Git-Protocol", ""))
        out = subprocess.run([backend], input=body, env=environment, stdout=subprocess.PIPE).stdout
        head, _, content = out.partition(b"\r\n\r\n")
        status, headers = 200, []
        for line in head.decode().split("\r\n"):
            name, _, value = line.partition(": ")
            if name == "Status":
                status = int(value.split()[0])
            elif name:
                headers.append((name, value))
        self.send_response(status)
        for name, value in headers:
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    do_GET = do_POST = answer

    def log_message(self, *arguments):
        pass

server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(certificate, key)
server.socket = context.wrap_socket(server.socket, server_side=True)
print(server.server_address[1], flush=True)
server.serve_forever()
)";

} // namespace

class TestHttps : public QObject {
    Q_OBJECT

    std::unique_ptr<RemoteScene> m_scene;
    QProcess m_server;
    QString m_skip, m_address, m_helperLog;
    std::string m_fingerprint;
    int m_asked = 0;

    QString file(const char* name) const { return m_scene->repo.outside() + QLatin1Char('/') + QLatin1String(name); }
    Access trusting(bool yes = true)
    {
        Access access;
        access.trustHost = [this, yes](const std::string& host, const std::string& fingerprint) {
            ++m_asked;
            return yes && host == "127.0.0.1" && fingerprint == m_fingerprint;
        };
        return access;
    }
    void useHelper(const char* password)
    {
        m_helperLog = file("helper.log");
        const QString script = file("helper");
        m_scene->writeScript(script, QByteArray("#!/bin/sh\necho \"$1\" >>'") + m_helperLog.toUtf8() +
                                         "'\n[ \"$1\" = get ] && printf 'username=" + user + "\\npassword=" + password +
                                         "\\n'\ncat >/dev/null\n");
        m_scene->repo.git({QStringLiteral("config"), QStringLiteral("credential.helper"), script});
    }
    QStringList helperHeard() const
    {
        QFile log(m_helperLog);
        return log.open(QIODevice::ReadOnly) ? QString::fromUtf8(log.readAll()).split(u'\n', Qt::SkipEmptyParts)
                                             : QStringList();
    }
    // Whether some file of the clone has the word.
    bool isWrittenSomewhere(const QByteArray& word) const
    {
        QDirIterator all(m_scene->repo.path(), QDir::Files | QDir::Hidden | QDir::NoDotAndDotDot,
                         QDirIterator::Subdirectories);
        while (all.hasNext()) {
            QFile one(all.next());
            if (one.open(QIODevice::ReadOnly) && one.readAll().contains(word))
                return true;
        }
        return false;
    }

  private Q_SLOTS:
    void initTestCase()
    {
        const QString backend =
            QString::fromUtf8(runProgram(QStringLiteral("git"), {QStringLiteral("--exec-path")}, QDir::tempPath()).out)
                .trimmed() +
            QStringLiteral("/git-http-backend");
        for (const char* program : {"openssl", "python3"})
            if (QStandardPaths::findExecutable(QLatin1String(program)).isEmpty())
                m_skip = QStringLiteral("%1 is not installed").arg(QLatin1String(program));
        if (!QFileInfo::exists(backend))
            m_skip = QStringLiteral("git's http-backend is not installed");
    }

    void init()
    {
        if (!m_skip.isEmpty())
            QSKIP(qPrintable(m_skip));
        m_asked = 0;
        m_scene = std::make_unique<RemoteScene>();
        const auto made = runProgram(
            QStringLiteral("openssl"),
            {QStringLiteral("req"), QStringLiteral("-x509"), QStringLiteral("-newkey"), QStringLiteral("rsa:2048"),
             QStringLiteral("-nodes"), QStringLiteral("-days"), QStringLiteral("2"), QStringLiteral("-subj"),
             QStringLiteral("/CN=127.0.0.1"), QStringLiteral("-addext"), QStringLiteral("subjectAltName=IP:127.0.0.1"),
             QStringLiteral("-keyout"), file("key.pem"), QStringLiteral("-out"), file("cert.pem")},
            m_scene->repo.outside());
        QVERIFY2(made.exitCode == 0, made.err.constData());
        // The reference for the fingerprint: openssl's own.
        const auto print =
            runProgram(QStringLiteral("openssl"),
                       {QStringLiteral("x509"), QStringLiteral("-in"), file("cert.pem"), QStringLiteral("-noout"),
                        QStringLiteral("-fingerprint"), QStringLiteral("-sha256")},
                       m_scene->repo.outside());
        m_fingerprint = print.out.trimmed().mid(print.out.indexOf('=') + 1).toStdString();
        QCOMPARE(m_fingerprint.size(), std::size_t(95));
        m_scene->writeScript(file("server.py"), serverScript);
        const QString backend =
            QString::fromUtf8(runProgram(QStringLiteral("git"), {QStringLiteral("--exec-path")}, QDir::tempPath()).out)
                .trimmed();
        m_server.start(QStringLiteral("python3"),
                       {file("server.py"), m_scene->repo.outside(), file("cert.pem"), file("key.pem"),
                        backend + QStringLiteral("/git-http-backend"),
                        QStringLiteral("%1:%2").arg(QLatin1String(user), QLatin1String(secret))});
        while (!m_server.canReadLine() && m_server.waitForReadyRead(patience)) {
        }
        const QByteArray port = m_server.readLine().trimmed();
        QVERIFY2(port.toInt() > 0, m_server.readAllStandardError().constData());
        m_address = QStringLiteral("https://127.0.0.1:%1/").arg(QString::fromLatin1(port));
        m_scene->repo.git({QStringLiteral("remote"), QStringLiteral("set-url"), QStringLiteral("origin"),
                           m_address + QStringLiteral("fork.git")});
        m_scene->repo.git({QStringLiteral("remote"), QStringLiteral("set-url"), QStringLiteral("upstream"),
                           m_address + QStringLiteral("upstream.git")});
    }
    void cleanup()
    {
        m_server.kill();
        m_server.waitForFinished();
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

    // One repository's authority must not vouch for another's server: in one run, whatever came first.
    void authoritiesStayTheirRepositorys_data()
    {
        QTest::addColumn<bool>("namedFirst");
        QTest::newRow("named first") << true;
        QTest::newRow("the system's first") << false;
    }
    void authoritiesStayTheirRepositorys()
    {
        QFETCH(bool, namedFirst);
        useHelper(secret);
        const QString second = m_scene->repo.outside() + QStringLiteral("/second");
        m_scene->repo.git({QStringLiteral("clone"), QStringLiteral("--quiet"), m_scene->fork, second});
        m_scene->gitIn(second, {QStringLiteral("remote"), QStringLiteral("set-url"), QStringLiteral("origin"),
                                m_address + QStringLiteral("fork.git")});
        m_scene->repo.git({QStringLiteral("config"), QStringLiteral("http.sslCAInfo"), file("cert.pem")});
        // The choice holds for a whole process, so this takes one of its own, begun before any other connection.
        enum { First = 1, SecondRefused = 2, SecondReached = 4 };
        const pid_t child = ::fork();
        if (child == 0) {
            const auto named = m_scene->repo.open();
            const auto plain = Repository::open(second.toStdString());
            const auto one = fetchRemote(namedFirst ? named : *plain, "origin");
            const auto two = fetchRemote(namedFirst ? *plain : named, "origin");
            const bool firstAsItShould = namedFirst ? one.has_value() : one.error().line().contains("not trusted");
            ::_exit((firstAsItShould ? First : 0) | (two ? SecondReached : 0) |
                    (!two && two.error().line().contains("http.sslCAInfo") && two.error().kind == ErrorKind::Refused
                         ? SecondRefused
                         : 0));
        }
        int status = 0;
        ::waitpid(child, &status, 0);
        QVERIFY(WIFEXITED(status));
        QCOMPARE(WEXITSTATUS(status), int(First) | int(SecondRefused));
    }

    void isNotTrustedInSilence()
    {
        useHelper(secret);
        auto clone = m_scene->repo.open();
        const auto nobodyAsked = fetchRemote(clone, "upstream");
        QVERIFY(!nobodyAsked);
        QVERIFY2(nobodyAsked.error().line().find("not trusted") != std::string::npos,
                 nobodyAsked.error().line().c_str());
        const auto refused = fetchRemote(clone, "upstream", trusting(false));
        QVERIFY(!refused);
        QCOMPARE(m_asked, 1);
        QVERIFY(helperHeard().isEmpty()); // no login goes to a server that is not trusted
        QVERIFY(m_scene->repo.git({QStringLiteral("for-each-ref"), QStringLiteral("refs/remotes")}).empty());
    }

    void fetchesWithTheHelpersLogin()
    {
        useHelper(secret);
        auto clone = m_scene->repo.open();
        const auto fetched = fetchRemote(clone, "upstream", trusting());
        QVERIFY2(fetched, fetched ? "" : fetched.error().line().c_str());
        QVERIFY(m_asked > 0);
        QCOMPARE(m_scene->repo.git({QStringLiteral("rev-parse"), QStringLiteral("refs/remotes/upstream/main")}),
                 m_scene->main);
        QVERIFY(helperHeard().contains(QStringLiteral("store")));
        QVERIFY(!isWrittenSomewhere(secret));
    }

    void clones()
    {
        Access access = trusting();
        access.askLogin = [](const std::string&, const std::string&) { return std::optional(Login{user, secret}); };
        const std::filesystem::path into = file("new-clone").toStdString();
        const auto made = cloneRepository((m_address + QStringLiteral("fork.git")).toStdString(), into, access);
        QVERIFY2(made, made ? "" : made.error().line().c_str());
        QCOMPARE(m_scene->gitIn(QString::fromStdString(into.string()),
                                {QStringLiteral("rev-parse"), QStringLiteral("refs/remotes/origin/topic/x")}),
                 m_scene->topic[1]);
        QFile config(QString::fromStdString((into / ".git/config").string()));
        QVERIFY(config.open(QIODevice::ReadOnly) && !config.readAll().contains(secret));
    }

    void pushesWithALease()
    {
        useHelper(secret);
        auto clone = m_scene->repo.open();
        m_scene->replayTopic();
        const Oid old = Oid::parse(m_scene->topic[1]).value();
        const auto plain = push(clone, {"topic/x", "origin", {}}, trusting());
        QVERIFY(!plain); // no fast-forward
        QCOMPARE(m_scene->forkAt(QStringLiteral("refs/heads/topic/x")), old.hex());
        const auto pushed = push(clone, {"topic/x", "origin", old}, trusting());
        QVERIFY2(pushed, pushed ? "" : pushed.error().line().c_str());
        QVERIFY(pushed->forced);
        QCOMPARE(m_scene->forkAt(QStringLiteral("refs/heads/topic/x")), m_scene->replayed[1]);
        // Somebody moves it: the lease is on what is no longer there.
        const std::string strangers = m_scene->strangerPushes();
        const auto late = push(clone, {"topic/x", "origin", Oid::parse(m_scene->replayed[1])}, trusting());
        QVERIFY(!late || late->entry.id.empty());
        QCOMPARE(m_scene->forkAt(QStringLiteral("refs/heads/topic/x")), strangers);
        QVERIFY(!isWrittenSomewhere(secret));
    }

    void aWrongPasswordIsOneClearLine()
    {
        useHelper(wrongSecret);
        auto clone = m_scene->repo.open();
        m_scene->replayTopic();
        const auto fetched = fetchRemote(clone, "upstream", trusting());
        QVERIFY(!fetched);
        const auto pushed = push(clone, {"topic/x", "origin", Oid::parse(m_scene->topic[1])}, trusting());
        QVERIFY(!pushed);
        QCOMPARE(m_scene->forkAt(QStringLiteral("refs/heads/topic/x")), m_scene->topic[1]);
        for (const Error& error : {fetched.error(), pushed.error()}) {
            const QString line = QString::fromStdString(error.line());
            QVERIFY2(line.contains(QStringLiteral("login")), qPrintable(line));
            QVERIFY2(!line.contains(QLatin1String(wrongSecret)) && !line.contains(u'\n'), qPrintable(line));
        }
        QVERIFY(helperHeard().contains(QStringLiteral("erase")));
        QVERIFY(!helperHeard().contains(QStringLiteral("store")));
        QVERIFY(!isWrittenSomewhere(wrongSecret));
        const auto entries = readLogbook(clone);
        QVERIFY(entries && entries->empty());
    }
};

QTEST_MAIN(TestHttps)
#include "test_https.moc"

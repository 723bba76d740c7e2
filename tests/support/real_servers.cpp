// SPDX-License-Identifier: MIT
#include "tests/support/real_servers.h"

#include <QDir>
#include <QFile>
#include <QStandardPaths>
#include <QtTest/QtTest>

#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

namespace espalier::test {

namespace {

constexpr int patience = 60000;

sockaddr_in loopback(int port)
{
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(std::uint16_t(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    return address;
}

bool canBeReached(int port)
{
    const int file = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    const sockaddr_in address = loopback(port);
    const bool reached = ::connect(file, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
    ::close(file);
    return reached;
}

QString serverProgram(const char* name)
{
    const QString found = QStandardPaths::findExecutable(QLatin1String(name));
    return found.isEmpty() ? QStandardPaths::findExecutable(QLatin1String(name), {"/usr/sbin", "/usr/local/sbin"})
                           : found;
}

QString gitFolder() { return QString::fromUtf8(runProgram("git", {"--exec-path"}, QDir::tempPath()).out).trimmed(); }

void mustEndWell(const GitRun& run)
{
    if (run.exitCode != 0)
        QTest::qFail(run.err.constData(), __FILE__, __LINE__);
}

} // namespace

RealServer::~RealServer()
{
    m_process.terminate();
    if (!m_process.waitForFinished(patience))
        m_process.kill();
    m_process.waitForFinished();
}

int RealServer::freePort()
{
    const int file = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in address = loopback(0);
    socklen_t size = sizeof address;
    ::bind(file, reinterpret_cast<const sockaddr*>(&address), size);
    ::getsockname(file, reinterpret_cast<sockaddr*>(&address), &size);
    ::close(file);
    return ntohs(address.sin_port);
}

void RealServer::start(const QString& program, const QStringList& arguments)
{
    m_process.setProcessEnvironment(cleanEnvironment(m_folder));
    m_process.setProcessChannelMode(QProcess::MergedChannels);
    m_process.start(program, arguments);
    const bool ready =
        QTest::qWaitFor([this] { return m_process.state() == QProcess::NotRunning || canBeReached(m_port); }, patience);
    if (!ready || m_process.state() == QProcess::NotRunning)
        QTest::qFail(("the server does not start: " + m_process.readAll()).constData(), __FILE__, __LINE__);
}

void RealServer::write(const QString& path, const QByteArray& text) const
{
    QFile out(path);
    if (!out.open(QIODevice::WriteOnly | QIODevice::Truncate) || out.write(text) != text.size() ||
        !out.setPermissions(QFile::ReadOwner | QFile::WriteOwner))
        QTest::qFail("cannot write a file for the server", __FILE__, __LINE__);
}

void RealServer::use(const RemoteScene& scene) const
{
    scene.repo.git({"remote", "set-url", "origin", url(scene.fork)});
    scene.repo.git({"remote", "set-url", "upstream", url(scene.upstream)});
}

QString SshServer::missing()
{
    for (const char* program : {"sshd", "ssh", "ssh-keygen"})
        if (serverProgram(program).isEmpty())
            return QStringLiteral("%1 is not installed; packaging/set-up installs it").arg(QLatin1String(program));
    // sshd's place of its own, which the system makes when it starts it itself.
    if (::geteuid() == 0 && !QDir().mkpath("/run/sshd"))
        return QStringLiteral("sshd has no /run/sshd here");
    return {};
}

SshServer::SshServer(const QString& folder, const QByteArray& more) : RealServer(folder + "/sshd")
{
    QDir().mkpath(m_folder);
    m_user = runProgram("id", {"-un"}, m_folder).out.trimmed();
    for (const char* key : {"host", "mine"})
        mustEndWell(runProgram("ssh-keygen", {"-q", "-t", "ed25519", "-N", "", "-f", file(key)}, m_folder));
    QFile::copy(file("mine.pub"), file("allowed"));
    write(file("known"), hostKeyLine());
    const QByteArray at = m_folder.toUtf8();
    write(file("sshd_config"), "ListenAddress 127.0.0.1\nPort " + QByteArray::number(m_port) + "\nHostKey " + at +
                                   "/host\nAuthorizedKeysFile " + at + "/allowed\nPidFile none\nStrictModes no\n" +
                                   "UsePAM no\nPermitRootLogin yes\nPasswordAuthentication no\n" +
                                   "KbdInteractiveAuthentication no\n" + more);
    configureClient(clientLines());
    start(serverProgram("sshd"), {"-D", "-e", "-f", file("sshd_config")});
}

QByteArray SshServer::clientLines() const
{
    const QByteArray at = m_folder.toUtf8();
    return "HostName 127.0.0.1\nPort " + QByteArray::number(m_port) + "\nUser " + m_user + "\nIdentityFile " + at +
           "/mine\nIdentitiesOnly yes\nIdentityAgent none\nUserKnownHostsFile " + at +
           "/known\nGlobalKnownHostsFile /dev/null\nStrictHostKeyChecking yes\n";
}

void SshServer::configureClient(const QByteArray& lines) const { write(file("config"), "Host forge\n" + lines); }

QByteArray SshServer::hostKeyLine() const
{
    QFile key(file("host.pub"));
    if (!key.open(QIODevice::ReadOnly))
        return {};
    return "[127.0.0.1]:" + QByteArray::number(m_port) + ' ' + key.readAll().split(' ').mid(0, 2).join(' ') + '\n';
}

void SshServer::use(const RemoteScene& scene) const
{
    RealServer::use(scene);
    scene.repo.git({"config", "core.sshCommand", "ssh -F '" + file("config") + "'"});
}

QString WebServer::missing()
{
    for (const char* program : {"lighttpd", "openssl"})
        if (serverProgram(program).isEmpty())
            return QStringLiteral("%1 is not installed; packaging/set-up installs it").arg(QLatin1String(program));
    if (!QFile::exists(gitFolder() + "/git-http-backend"))
        return QStringLiteral("git's http-backend is not installed");
    return {};
}

WebServer::WebServer(const QString& folder, Certificate certificate, const QByteArray& protocol,
                     bool asksForCertificate)
    : RealServer(folder + "/web")
{
    QDir().mkpath(m_folder + "/root");
    for (const char* name : {"root/open", "root/private", "root/header", "root/cookie"})
        QFile::link(folder, file(name));
    const QString host = certificate == Certificate::OtherHost ? "DNS:forge.example.org" : "IP:127.0.0.1";
    QStringList make{"req",           "-x509",         "-newkey",
                     "rsa:2048",      "-nodes",        "-subj",
                     "/CN=Forge",     "-addext",       "subjectAltName=" + host,
                     "-keyout",       file("key.pem"), "-out",
                     file("cert.pem")};
    // Both ends of its life lie in the past (openssl 3.2 and newer).
    if (certificate == Certificate::Expired)
        make << "-not_before" << "20200101000000Z" << "-not_after" << "20210101000000Z";
    else
        make << "-days" << "2";
    mustEndWell(runProgram("openssl", make, m_folder));
    write(file("users"), QByteArray(user) + ':' + secret + '\n' + token + ':' + secret + '\n');
    const QByteArray at = m_folder.toUtf8();
    write(file("lighttpd.conf"),
          "server.document-root = \"" + at + "/root\"\nserver.bind = \"127.0.0.1\"\nserver.port = " +
              QByteArray::number(m_port) + "\nserver.errorlog = \"" + at + "/errors\"\n" +
              "server.modules = ( \"mod_openssl\", \"mod_auth\", \"mod_authn_file\", \"mod_access\", \"mod_redirect\", "
              "\"mod_alias\", \"mod_setenv\", \"mod_cgi\" )\n"
              "ssl.engine = \"enable\"\nssl.pemfile = \"" +
              at + "/cert.pem\"\nssl.privkey = \"" + at +
              "/key.pem\"\nssl.openssl.ssl-conf-cmd = ( \"MinProtocol\" => \"" + protocol +
              "\", \"MaxProtocol\" => \"" + protocol + "\" )\n" +
              (asksForCertificate ? "ssl.verifyclient.activate = \"enable\"\nssl.verifyclient.enforce = "
                                    "\"enable\"\nssl.verifyclient.ca-file = \"" +
                                        at + "/cert.pem\"\n"
                                  : QByteArray()) +
              "auth.backend = \"plain\"\nauth.backend.plain.userfile = \"" + at +
              "/users\"\nalias.url = ( \"/git\" => \"" + gitFolder().toUtf8() +
              "/git-http-backend\" )\n"
              "$HTTP[\"url\"] =~ \"^/git\" {\n  cgi.assign = ( \"\" => \"\" )\n"
              "  setenv.add-environment = ( \"GIT_PROJECT_ROOT\" => \"" +
              at + "/root\", \"GIT_HTTP_EXPORT_ALL\" => \"1\", \"REMOTE_USER\" => \"mira\", \"HOME\" => \"" + at +
              "\" )\n}\n"
              "$HTTP[\"url\"] =~ \"^/moved/\" { url.redirect = ( \"^/moved/(.*)\" => \"/git/open/$1\" ) }\n"
              "$HTTP[\"url\"] =~ \"^/git/private/\" { auth.require = ( \"\" => ( \"method\" => \"basic\", "
              "\"realm\" => \"test\", \"require\" => \"valid-user\" ) ) }\n"
              "$HTTP[\"url\"] =~ \"^/git/header/\" {\n"
              "  $REQUEST_HEADER[\"X-Forge\"] != \"yes\" { url.access-deny = ( \"\" ) }\n}\n"
              "$HTTP[\"url\"] =~ \"^/git/cookie/\" {\n"
              "  $REQUEST_HEADER[\"Cookie\"] !~ \"tide=high\" { url.access-deny = ( \"\" ) }\n}\n");
    start(serverProgram("lighttpd"), {"-D", "-f", file("lighttpd.conf")});
}

QString WebServer::url(const QString& path, const char* below) const
{
    return QStringLiteral("https://127.0.0.1:%1/%2/%3")
        .arg(m_port)
        .arg(QLatin1String(below), QFileInfo(path).fileName());
}

void WebServer::use(const RemoteScene& scene) const { use(scene, "git/open"); }

void WebServer::use(const RemoteScene& scene, const char* below) const
{
    // What this machine needs for its own way out wins over the settings, and has no place here.
    for (const char* variable :
         {"GIT_SSL_CAINFO", "GIT_SSL_CAPATH", "GIT_SSL_NO_VERIFY", "CURL_CA_BUNDLE", "SSL_CERT_FILE", "https_proxy",
          "HTTPS_PROXY", "all_proxy", "ALL_PROXY", "no_proxy", "NO_PROXY"})
        qunsetenv(variable);
    scene.repo.git({"remote", "set-url", "origin", url(scene.fork, below)});
    scene.repo.git({"remote", "set-url", "upstream", url(scene.upstream, below)});
    scene.repo.git({"config", QStringLiteral("http.https://127.0.0.1:%1/.sslCAInfo").arg(m_port), authority()});
}

DaemonServer::DaemonServer(const QString& folder) : RealServer(folder)
{
    start("git", {"daemon", "--export-all", "--enable=receive-pack", "--reuseaddr", "--listen=127.0.0.1",
                  QStringLiteral("--port=%1").arg(m_port), "--base-path=" + folder, folder});
}

QString DaemonServer::url(const QString& path) const
{
    return QStringLiteral("git://127.0.0.1:%1/%2").arg(m_port).arg(QFileInfo(path).fileName());
}

} // namespace espalier::test

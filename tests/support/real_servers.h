// SPDX-License-Identifier: MIT
//
// Real servers for the repositories of a scene, on loopback and on a free port: OpenSSH's sshd, lighttpd with git's http-backend
// over TLS, git daemon. Each ends with its object. A test skips where missing() says that the server is not installed.
//
//     if (const QString why = SshServer::missing(); !why.isEmpty())
//         QSKIP(qPrintable(why));
//     SshServer server(scene.repo.outside());
//     server.use(scene);   // the scene's remotes lead there
#pragma once

#include "tests/support/remote_scene.h"

#include <QProcess>
#include <QString>

namespace espalier::test {

class RealServer {
  public:
    explicit RealServer(QString folder) : m_folder(std::move(folder)) {}
    virtual ~RealServer();
    RealServer(const RealServer&) = delete;
    // The address of a repository by its path.
    virtual QString url(const QString& path) const = 0;
    // The scene's remotes lead there, and the clone's settings know how.
    virtual void use(const RemoteScene& scene) const;
    int port() const { return m_port; }
    QString file(const char* name) const { return m_folder + QLatin1Char('/') + QLatin1String(name); }

  protected:
    // Starts it and waits until it can be reached; fails the test with its words when it cannot be.
    void start(const QString& program, const QStringList& arguments);
    void write(const QString& path, const QByteArray& text) const;
    static int freePort();
    QString m_folder;
    QProcess m_process;
    int m_port = freePort();
};

// One user, this one, with a key; the client's configuration knows the server as "forge".
class SshServer : public RealServer {
  public:
    static QString missing();
    explicit SshServer(const QString& folder, const QByteArray& more = {}); // more lines for sshd's configuration
    QString url(const QString& path) const override { return QStringLiteral("forge:") + path; }
    void use(const RemoteScene& scene) const override;
    // Lines below "Host forge" of the client's configuration.
    void configureClient(const QByteArray& lines) const;
    QByteArray clientLines() const; // the usual ones
    QByteArray hostKeyLine() const; // for the known hosts

  private:
    QByteArray m_user;
};

// Below /git/open/ for everybody, /git/private/ with a login, /git/header/ with the header "X-Forge: yes", /git/cookie/ with
// the cookie "tide=high", and /moved/ leads to /git/open/.
class WebServer : public RealServer {
  public:
    static QString missing();
    enum class Certificate { Good, Expired, OtherHost };
    explicit WebServer(const QString& folder, Certificate certificate = Certificate::Good,
                       const QByteArray& protocol = "TLSv1.3", bool asksForCertificate = false);
    QString url(const QString& path) const override { return url(path, "git/open"); }
    QString url(const QString& path, const char* below) const;
    QString authority() const { return file("cert.pem"); }
    // Of a client that the server knows, when it asks for one.
    QString clientCertificate() const { return file("cert.pem"); }
    QString clientKey() const { return file("key.pem"); }
    void use(const RemoteScene& scene) const override;
    void use(const RemoteScene& scene, const char* below) const;
    static constexpr char user[] = "mira";
    static constexpr char secret[] = "correct-horse-battery";
    // Another user's name, with the same password; it looks as tokens do that stand for a name.
    static constexpr char token[] = "ghx_0123456789abcdefghij";
};

class DaemonServer : public RealServer {
  public:
    static QString missing() { return {}; }
    explicit DaemonServer(const QString& folder);
    QString url(const QString& path) const override;
};

} // namespace espalier::test

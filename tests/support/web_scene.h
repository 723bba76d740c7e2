// SPDX-License-Identifier: MIT
//
// A scene over https, with a list of all programs that git starts: what the tests of logins, certificates and proxies begin with.
//
//     begin();                 // in init()
//     serve("git/private");    // the scene's remotes lead there
//     useHelper(WebServer::secret);
#pragma once

#include "tests/support/real_servers.h"

#include <QDirIterator>
#include <QFile>
#include <QFileInfo>

#include <algorithm>
#include <memory>

namespace espalier::test {

struct WebScene {
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
    void useHelper(const char* password, const char* name = WebServer::user) const
    {
        m_scene->writeScript(file("helper"), "#!/bin/sh\necho \"$1\" >>'" + file("helper.log").toUtf8() +
                                                 "'\ntee -a '" + file("helper.asked").toUtf8() +
                                                 "' >/dev/null\n[ \"$1\" != get ] || printf 'username=" + name +
                                                 "\\npassword=" + password + "\\n'\n");
        m_scene->repo.git({"config", "credential.helper", file("helper")});
    }
    static QByteArray contents(const QString& path)
    {
        QFile in(path);
        return in.open(QIODevice::ReadOnly) ? in.readAll() : QByteArray();
    }
    // Where the word is written: in files of the folders but for the settings, or in the list of all the programs that git
    // started with their arguments.
    QString whereWritten(const QByteArray& word, const QStringList& folders) const
    {
        for (const QString& folder : folders) {
            QDirIterator all(folder, QDir::Files | QDir::Hidden | QDir::NoDotAndDotDot, QDirIterator::Subdirectories);
            while (all.hasNext())
                if (const QString path = all.next(); contents(path).contains(word) && !path.endsWith("/.git/config"))
                    return path;
        }
        const QList<QByteArray> lines = contents(m_trace).split('\n');
        const auto found = std::ranges::find_if(lines, [&](const QByteArray& line) { return line.contains(word); });
        return found == lines.end() ? QString() : QString::fromUtf8(*found);
    }
    void begin()
    {
        m_scene = std::make_unique<RemoteScene>();
        m_trace = file("trace");
        qputenv("GIT_TRACE", m_trace.toUtf8());
    }
    void end()
    {
        qunsetenv("GIT_TRACE");
        m_server.reset();
        m_scene.reset();
    }
};

} // namespace espalier::test

// SPDX-License-Identifier: MIT
#include "tests/support/tide_scene.h"

#include <QDir>
#include <QFile>
#include <QtTest/QtTest>

namespace espalier::test {

QByteArray Scene::git(const QStringList& arguments, const QByteArray& input) const
{
    const GitRun run = runProgram(QStringLiteral("git"), arguments, path, input);
    if (run.exitCode != 0)
        QTest::qFail(("git " + arguments.join(QLatin1Char(' ')).toUtf8() + ": " + run.err).constData(), __FILE__,
                     __LINE__);
    return run.out.trimmed();
}

QString Scene::loose(const QString& revision) const
{
    const QString id = QString::fromLatin1(git({"rev-parse", revision}));
    return dotGit() + "/objects/" + id.left(2) + '/' + id.mid(2);
}

void Scene::write(const QString& file, const QByteArray& bytes) const
{
    QFile::remove(file);
    QFile out(file);
    if (!out.open(QIODevice::WriteOnly) || out.write(bytes) != bytes.size())
        QTest::qFail(qPrintable("cannot write " + file), __FILE__, __LINE__);
}

QByteArray Scene::read(const QString& file) const
{
    QFile in(file);
    if (!in.open(QIODevice::ReadOnly))
        QTest::qFail(qPrintable("cannot read " + file), __FILE__, __LINE__);
    return in.readAll();
}

void Scene::commit(const char* branch, const char* file, const QByteArray& bytes) const
{
    git({"checkout", "--quiet", branch});
    write(path + '/' + file, bytes);
    git({"add", "-A"});
    git({"commit", "--quiet", "-m", QStringLiteral("Change %1").arg(QLatin1String(file))});
}

void Scene::hook(const char* name, const QByteArray& script) const
{
    QDir().mkpath(dotGit() + "/hooks");
    const QString file = dotGit() + "/hooks/" + name;
    write(file, script.startsWith("#!") ? script : "#!/bin/sh\n" + script);
    QFile::setPermissions(file, QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner);
}

TideTemplate::TideTemplate()
{
    for (const auto& [key, value] :
         {std::pair("user.name", "Mira Holm"), std::pair("user.email", "mira@example.org"), std::pair("gc.auto", "0")})
        m_repository.git({"config", key, value});
    const auto commit = [&](const char* file, const char* text, const char* message) {
        m_repository.writeFile(file, text);
        m_repository.git({"add", "-A"});
        m_repository.git({"commit", "--quiet", "-m", message});
    };
    commit("tides.txt", "high\nlow\n", "The tides");
    m_repository.git({"checkout", "--quiet", "-b", "topic"});
    commit("moon.txt", "full\n", "The moon");
    commit("notes.txt", "one\n", "Notes");
    m_repository.git({"checkout", "--quiet", "main"});
    commit("sea.txt", "calm\n", "The sea");
    m_repository.git({"checkout", "--quiet", "topic"});
}

Scene TideTemplate::copyTo(const QString& folder, const char* name) const
{
    const Scene scene{folder + '/' + name, folder};
    std::filesystem::copy(m_repository.fsPath(), scene.path.toStdString(),
                          std::filesystem::copy_options::recursive | std::filesystem::copy_options::copy_symlinks);
    return scene;
}

} // namespace espalier::test

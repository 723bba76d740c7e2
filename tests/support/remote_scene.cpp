// SPDX-License-Identifier: MIT
#include "tests/support/remote_scene.h"

#include <QDir>
#include <QFile>
#include <QtTest/QtTest>

namespace espalier::test {

RemoteScene::RemoteScene(Reach reach)
{
    upstream = repo.outside() + "/upstream.git";
    fork = repo.outside() + "/fork.git";
    base = repo.commitFiles({{"a.txt", "one\ntwo\nthree\n"}, {"b.txt", "b\n"}}, "Base", {}, "main");
    topic.push_back(repo.commitFiles({{"a.txt", "one\ntwo, mine\nthree\n"}}, "First of the topic", {base}));
    topic.push_back(repo.commitFiles({{"c.txt", "c\n"}}, "Second of the topic", {topic[0]}, "topic/x"));
    for (const QString& bare : {upstream, fork}) {
        repo.git({"init", "--quiet", "--bare", "--initial-branch=main", "--template=", bare});
        repo.git({"push", "--quiet", bare, "main"});
    }
    repo.git({"push", "--quiet", fork, "topic/x"});
    const std::string id = repo.commitFiles({{"b.txt", "b, upstream's\n"}}, "Upstream moves", {base});
    main = id;
    repo.git({"push", "--quiet", upstream, QString::fromStdString(id + ":refs/heads/main")});
    QString prefix;
    if (reach == FileUrl)
        prefix = "file://";
    if (reach == Ssh) {
        prefix = "ssh://somebody@example.org:2222";
        // The last argument is the command, as ssh would hand it to the other machine's shell.
        const QString script = repo.outside() + "/ssh";
        writeScript(script, "#!/bin/sh\necho \"$@\" >>\"$0.log\"\nfor last; do :; done\nexec sh -c \"$last\"\n");
        qputenv("GIT_SSH_COMMAND", script.toUtf8());
        // git would ask a program of another name whether it is OpenSSH.
        repo.git({"config", "ssh.variant", "ssh"});
    }
    repo.git({"remote", "add", "upstream", prefix + upstream});
    repo.git({"remote", "add", "origin", prefix + fork});
    repo.git({"config", "user.name", "Mira Holm"});
    repo.git({"config", "user.email", "mira@example.org"});
    repo.git({"reset", "--hard", "--quiet"});
}

void RemoteScene::replayTopic()
{
    replayed.push_back(repo.commitFiles({{"a.txt", "one\ntwo, mine\nthree\n"}}, "First of the topic", {main}));
    replayed.push_back(repo.commitFiles({{"c.txt", "c, better\n"}}, "Second of the topic", {replayed[0]}, "topic/x"));
}

std::string RemoteScene::strangerPushes()
{
    const std::string id = gitIn(fork, {"-c", "user.name=Oda Vik", "-c", "user.email=oda@example.org", "commit-tree",
                                        "-p", "topic/x", "-m", "Somebody's work", "topic/x^{tree}"});
    gitIn(fork, {"update-ref", "refs/heads/topic/x", QString::fromStdString(id)});
    return id;
}

std::string RemoteScene::forkAt(const QString& ref) const
{
    const GitRun run = runProgram("git", {"rev-parse", "--verify", "--quiet", ref}, fork);
    return run.exitCode == 0 ? run.out.trimmed().toStdString() : std::string();
}

std::string RemoteScene::gitIn(const QString& folder, const QStringList& arguments) const
{
    const GitRun run = runProgram("git", arguments, folder, {},
                                  {{"GIT_AUTHOR_NAME", "Oda Vik"}, {"GIT_AUTHOR_EMAIL", "oda@example.org"}});
    if (run.exitCode != 0)
        QTest::qFail(run.err.constData(), __FILE__, __LINE__);
    return run.out.trimmed().toStdString();
}

void RemoteScene::writeScript(const QString& path, const QByteArray& text) const
{
    QDir().mkpath(QFileInfo(path).path());
    QFile file(path);
    if (!file.open(QIODevice::WriteOnly | QIODevice::Truncate) || file.write(text) != text.size() ||
        !file.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner))
        QTest::qFail("cannot write the script", __FILE__, __LINE__);
}

void RemoteScene::checkSound() const
{
    for (const QString& folder : {upstream, fork, repo.path()}) {
        const GitRun run = runProgram("git", {"fsck", "--strict", "--no-dangling"}, folder);
        if (run.exitCode != 0 || !run.err.isEmpty() || !run.out.isEmpty())
            QTest::qFail(("fsck: " + run.out + run.err).constData(), __FILE__, __LINE__);
    }
}

} // namespace espalier::test

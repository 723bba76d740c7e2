// SPDX-License-Identifier: MIT
//
// What ssh asks reaches whoever answers, and nothing is taken for granted. The words of the questions are OpenSSH's (ssh(1) for
// SSH_ASKPASS, SSH_ASKPASS_REQUIRE and SSH_ASKPASS_PROMPT); where an sshd is installed, the real pair is tried as well.
#include "core/remotes/fetch.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QDir>
#include <QFile>
#include <QStandardPaths>
#include <QtTest/QtTest>

#include <mutex>

using namespace espalier;
using namespace espalier::test;

namespace {
} // namespace

class TestSshQuestions : public QObject {
    Q_OBJECT

    // A stand-in for ssh that asks `question` through its askpass program and goes on when the answer is `wanted`.
    static void askBefore(const RemoteScene& scene, const QByteArray& question, const QByteArray& wanted,
                          const QByteArray& prompt = {})
    {
        const QString script = scene.repo.outside() + "/asking-ssh";
        scene.writeScript(script, "#!/bin/sh\nset -u\n[ \"$SSH_ASKPASS_REQUIRE\" = force ] || exit 254\n" +
                                      (prompt.isEmpty() ? QByteArray() : "export SSH_ASKPASS_PROMPT=" + prompt + "\n") +
                                      "answer=$(\"$SSH_ASKPASS\" \"" + question +
                                      "\")\n[ $? = 0 ] && [ \"$answer\" = '" + wanted +
                                      "' ] || { echo 'Host key verification failed.' >&2; exit 255; }\n"
                                      "for last; do :; done\nexec sh -c \"$last\"\n");
        qputenv("GIT_SSH_COMMAND", script.toUtf8());
    }
    static Access answering(std::vector<SshQuestion>& asked, std::optional<std::string> answer)
    {
        Access access;
        access.askSsh = [&asked, answer](const SshQuestion& question) {
            asked.push_back(question);
            return answer;
        };
        access.sshCarrier = ESPALIER_PROGRAM;
        return access;
    }

  private Q_SLOTS:
    void init() { qunsetenv("SSH_ASKPASS"); }
    void cleanup() { qunsetenv("GIT_SSH_COMMAND"); }

    void hostKey()
    {
        const RemoteScene scene(RemoteScene::Ssh);
        const QByteArray question =
            "The authenticity of host 'example.org' can't be established.\nED25519 key fingerprint is SHA256:abc.\n"
            "Are you sure you want to continue connecting (yes/no/[fingerprint])? ";
        askBefore(scene, question, "yes");
        std::vector<SshQuestion> asked;
        const auto report = fetchRemote(scene.repo.open(), "origin", answering(asked, "yes"));
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(asked.size(), std::size_t(1));
        QCOMPARE(asked[0].kind, SshQuestion::Kind::HostKey);
        QCOMPARE(asked[0].words, question.toStdString());
    }

    void noIsNo()
    {
        const RemoteScene scene(RemoteScene::Ssh);
        askBefore(scene, "Are you sure you want to continue connecting (yes/no/[fingerprint])? ", "yes");
        std::vector<SshQuestion> asked;
        const auto report = fetchRemote(scene.repo.open(), "origin", answering(asked, std::nullopt));
        QVERIFY(!report);
        QCOMPARE(asked.size(), std::size_t(1));
        const std::string line = report.error().line();
        QVERIFY2(line.contains("Compare the fingerprint"), line.c_str());
    }

    // Whatever is in a passphrase arrives, and an empty one is an answer.
    void passphrase_data()
    {
        QTest::addColumn<QByteArray>("secret");
        QTest::newRow("words") << QByteArray("two  words $HOME \\ \"");
        QTest::newRow("empty") << QByteArray();
        QTest::newRow("not ASCII") << QByteArray("gr\xc3\xb6\xc3\x9f"
                                                 "e");
    }
    void passphrase()
    {
        QFETCH(QByteArray, secret);
        const RemoteScene scene(RemoteScene::Ssh);
        askBefore(scene, "Enter passphrase for key '/home/mira/.ssh/id_ed25519': ", secret);
        std::vector<SshQuestion> asked;
        const auto report = fetchRemote(scene.repo.open(), "origin", answering(asked, secret.toStdString()));
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(asked[0].kind, SshQuestion::Kind::Secret);
    }

    void consentAndNotice()
    {
        const RemoteScene scene(RemoteScene::Ssh);
        askBefore(scene, "Allow use of key mira?", "yes", "confirm");
        std::vector<SshQuestion> asked;
        auto report = fetchRemote(scene.repo.open(), "origin", answering(asked, "yes"));
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(asked[0].kind, SshQuestion::Kind::Consent);

        // A notice asks nobody; it is what is being waited for. The carrier comes back with no answer, which ssh does not read.
        const QString script = scene.repo.outside() + "/noting-ssh";
        scene.writeScript(
            script, "#!/bin/sh\nSSH_ASKPASS_PROMPT=none \"$SSH_ASKPASS\" 'Confirm user presence for key' </dev/null\n"
                    "for last; do :; done\nexec sh -c \"$last\"\n");
        qputenv("GIT_SSH_COMMAND", script.toUtf8());
        asked.clear();
        std::vector<std::string> steps;
        std::mutex mutex;
        Progress progress;
        progress.tell = [&](std::string_view step, std::uint64_t, std::uint64_t) {
            const std::lock_guard one(mutex);
            steps.emplace_back(step);
        };
        report = fetchRemote(scene.repo.open(), "origin", answering(asked, "yes"), progress);
        QVERIFY2(report, whyNot(report).c_str());
        QVERIFY(asked.empty());
        QVERIFY(std::ranges::find(steps, "Confirm user presence for key") != steps.end());
    }

    // Without somebody to answer, and where the user has a program for it, ssh asks as it does for git.
    void leavesSshItsOwnWays()
    {
        const RemoteScene scene(RemoteScene::Ssh);
        const QString script = scene.repo.outside() + "/looking-ssh";
        scene.writeScript(
            script, "#!/bin/sh\necho \"${SSH_ASKPASS-}/${SSH_ASKPASS_REQUIRE-}\" >\"$0.saw\"\nfor last; do :; done\n"
                    "exec sh -c \"$last\"\n");
        qputenv("GIT_SSH_COMMAND", script.toUtf8());
        const auto saw = [&] {
            QFile file(script + ".saw");
            return file.open(QIODevice::ReadOnly) ? file.readAll().trimmed() : QByteArray("nothing");
        };
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        QCOMPARE(saw(), QByteArray("/"));
        qputenv("SSH_ASKPASS", "/bin/true");
        std::vector<SshQuestion> asked;
        QVERIFY(fetchRemote(scene.repo.open(), "origin", answering(asked, "yes")));
        QCOMPARE(saw(), QByteArray("/bin/true/prefer"));
        qputenv("SSH_ASKPASS", "/nowhere/ask");
        QVERIFY(fetchRemote(scene.repo.open(), "origin", answering(asked, "yes")));
        QCOMPARE(saw(), QByteArray(ESPALIER_PROGRAM "/force"));
    }

    // ssh and sshd themselves, talking through pipes: the key is asked for once, then it is in the known hosts.
    void realPair()
    {
        const QString server = QStandardPaths::findExecutable("sshd", {"/usr/sbin", "/usr/local/sbin"});
        if (server.isEmpty() || QStandardPaths::findExecutable("ssh").isEmpty())
            QSKIP("no ssh and sshd here");
        const RemoteScene scene(RemoteScene::Ssh);
        const QString at = scene.repo.outside() + "/real";
        QVERIFY(QDir().mkpath(at));
        for (const char* key : {"host", "mine"})
            QCOMPARE(runProgram("ssh-keygen",
                                {"-q", "-t", "ed25519", "-N", key == QByteArray("mine") ? "a secret" : "", "-f",
                                 at + "/" + key},
                                at)
                         .exitCode,
                     0);
        QVERIFY(QFile::copy(at + "/mine.pub", at + "/allowed"));
        const QString daemon =
            QStringLiteral("%1 -i -f /dev/null -o HostKey=%2/host -o AuthorizedKeysFile=%2/allowed -o StrictModes=no "
                           "-o UsePAM=no -o PermitRootLogin=yes")
                .arg(server, at);
        scene.writeScript(at + "/ssh",
                          ("#!/bin/sh\nexec ssh -F /dev/null -l \"$(id -un)\" -o ProxyCommand='" + daemon +
                           "' -o IdentitiesOnly=yes -o IdentityAgent=none -i " + at + "/mine -o UserKnownHostsFile=" +
                           at + "/known -o GlobalKnownHostsFile=/dev/null -o PasswordAuthentication=no \"$@\"\n")
                              .toUtf8());
        qputenv("GIT_SSH_COMMAND", (at + "/ssh").toUtf8());
        scene.repo.git({"remote", "set-url", "origin", "ssh://example.org" + scene.fork});
        std::vector<SshQuestion> asked;
        Access access = answering(asked, {});
        access.askSsh = [&](const SshQuestion& question) -> std::optional<std::string> {
            asked.push_back(question);
            return question.kind == SshQuestion::Kind::HostKey ? "yes" : "a secret";
        };
        auto report = fetchRemote(scene.repo.open(), "origin", access);
        if (!report && QByteArray::fromStdString(whyNot(report)).contains("privilege separation"))
            QSKIP("sshd is not set up here");
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(asked.size(), std::size_t(2));
        QCOMPARE(asked[0].kind, SshQuestion::Kind::HostKey);
        QVERIFY(asked[0].words.contains("SHA256:"));
        QCOMPARE(asked[1].kind, SshQuestion::Kind::Secret);
        report = fetchRemote(scene.repo.open(), "origin", access);
        QVERIFY2(report, whyNot(report).c_str());
        QCOMPARE(asked.size(), std::size_t(3)); // the passphrase only
        QCOMPARE(asked[2].kind, SshQuestion::Kind::Secret);
    }
};

QTEST_GUILESS_MAIN(TestSshQuestions)
#include "test_ssh_questions.moc"

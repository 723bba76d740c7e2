// SPDX-License-Identifier: MIT
//
// Reference for signatures: git verify-commit with the programs that made them, ssh-keygen and gpg themselves.
#include "core/git/commit.h"
#include "core/git/process.h"
#include "core/git/signing.h"
#include "tests/support/temp_repository.h"

#include <QStandardPaths>
#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

std::string commitBytes(const TempRepository& repo)
{
    Commit commit;
    commit.tree = *Oid::parse(repo.git({"mktree"}));
    commit.author = commit.committer = {"Mira Holm", "mira@example.org", 1700000000, 60};
    commit.message = "Signed\n\nWith a body.\n";
    return formatCommit(commit);
}

void configure(const TempRepository& repo, const std::map<QString, QString>& settings)
{
    for (const auto& [key, value] : settings)
        repo.git({"config", key, value});
}

} // namespace

class TestSigning : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void wanted();
    void headerStandsWhereGitPutsIt();
    void ssh();
    void sshKeyGivenByCommand();
    void openpgp();
    void refused_data();
    void refused();
};

void TestSigning::wanted()
{
    TempRepository repo;
    QCOMPARE(wantsSigning(repo.open()).value(), false);
    configure(repo, {{"commit.gpgSign", "true"}});
    QCOMPARE(wantsSigning(repo.open()).value(), true);
    configure(repo, {{"commit.gpgSign", "maybe"}});
    const auto neither = wantsSigning(repo.open());
    QVERIFY(!neither && neither.error().line().contains("commit.gpgSign = maybe"));
    configure(repo, {{"commit.gpgSign", "true"}});
}

// Reference: a commit signed by git itself, whose bytes this makes again.
void TestSigning::headerStandsWhereGitPutsIt()
{
    TempRepository repo;
    const QString key = repo.outside() + "/key";
    QCOMPARE(
        test::runProgram("ssh-keygen", {"-q", "-t", "ed25519", "-N", "", "-C", "", "-f", key}, repo.path()).exitCode,
        0);
    configure(repo, {{"gpg.format", "ssh"}, {"user.signingKey", key}, {"i18n.commitEncoding", "ISO-8859-1"}});
    const std::string tree = repo.git({"mktree"});
    const std::string id = repo.git({"commit-tree", "-S", "-m", "Words", QString::fromStdString(tree)});
    const std::string bytes = repo.readRaw("commit", id);
    Commit commit = parseCommit(*Oid::parse(id), bytes).value();
    QVERIFY(commit.isSigned);
    QCOMPARE(commit.otherHeaders.size(), std::size_t(1));
    const std::string signature = commit.otherHeaders[0].second;
    commit.otherHeaders.clear();
    QCOMPARE(addSignatureHeader(formatCommit(commit), signature + "\n"), bytes);
    // Ed25519 signatures are deterministic: the very signature that git had made.
    const auto own = signCommit(repo.open(), formatCommit(commit));
    QVERIFY2(own, own ? "" : own.error().line().c_str());
    QCOMPARE(*own, signature + "\n");
}

void TestSigning::ssh()
{
    TempRepository repo;
    const QString key = repo.outside() + "/key", signers = repo.outside() + "/signers";
    QCOMPARE(
        test::runProgram("ssh-keygen", {"-q", "-t", "ed25519", "-N", "", "-C", "", "-f", key}, repo.path()).exitCode,
        0);
    QFile pub(key + ".pub");
    QVERIFY(pub.open(QIODevice::ReadOnly));
    QFile allowed(signers);
    QVERIFY(allowed.open(QIODevice::WriteOnly));
    allowed.write("mira@example.org " + pub.readAll());
    allowed.close();
    configure(repo, {{"gpg.format", "ssh"}, {"user.signingKey", key}, {"gpg.ssh.allowedSignersFile", signers}});
    const std::string bytes = commitBytes(repo);
    const auto signature = signCommit(repo.open(), bytes);
    QVERIFY2(signature, signature ? "" : signature.error().line().c_str());
    const std::string id = repo.writeRaw("commit", addSignatureHeader(bytes, *signature));
    const test::GitRun good = repo.tryGit({"verify-commit", "-v", QString::fromStdString(id)});
    QVERIFY2(good.exitCode == 0 && good.err.contains("Good \"git\" signature for mira@example.org"),
             good.err.constData());
    // The check can fail: other bytes under the same signature.
    std::string forged = bytes;
    forged.replace(forged.find("Signed"), 6, "Forged");
    const std::string other = repo.writeRaw("commit", addSignatureHeader(forged, *signature));
    QVERIFY(repo.tryGit({"verify-commit", QString::fromStdString(other)}).exitCode != 0);
}

void TestSigning::sshKeyGivenByCommand()
{
    TempRepository repo;
    // A program in ssh-keygen's place that shows what it was asked for: the literal key in a file of its own, and -U.
    repo.writeFile("../fake",
                   "#!/bin/sh\necho '-----BEGIN SSH SIGNATURE-----'\necho \"$1 $2 $3 $4 $5 $7\"\ncat \"$6\" -\n");
    QVERIFY(QFile::setPermissions(repo.outside() + "/fake", QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
    configure(repo, {{"gpg.format", "ssh"},
                     {"gpg.ssh.program", repo.outside() + "/fake"},
                     {"gpg.ssh.defaultKeyCommand", "echo 'key::ssh-ed25519 AAAA of mira'"}});
    const auto signature = signCommit(repo.open(), "the commit");
    QVERIFY2(signature, signature ? "" : signature.error().line().c_str());
    QCOMPARE(*signature, "-----BEGIN SSH SIGNATURE-----\n-Y sign -n git -f -U\nssh-ed25519 AAAA of mira\nthe commit");
}

void TestSigning::openpgp()
{
    if (QStandardPaths::findExecutable("gpg").isEmpty())
        QSKIP("gpg is not installed");
    TempRepository repo;
    QTemporaryDir home("/tmp/espalier-XXXXXX"); // short: gpg-agent's socket has a limit on its path
    QVERIFY(home.isValid());
    QFile::setPermissions(home.path(), QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner);
    const std::map<QString, QString> environment{{"GNUPGHOME", home.path()}};
    const test::GitRun made = test::runProgram("gpg",
                                               {"--batch", "--quiet", "--passphrase", "", "--quick-generate-key",
                                                "Mira Holm <mira@example.org>", "ed25519", "sign", "never"},
                                               home.path(), {}, environment);
    QVERIFY2(made.exitCode == 0, made.err.constData());
    configure(repo, {{"user.name", "Mira Holm"}, {"user.email", "mira@example.org"}});
    const std::string bytes = commitBytes(repo);
    const QByteArray before = qgetenv("GNUPGHOME");
    qputenv("GNUPGHOME", home.path().toUtf8());
    const auto signature = signCommit(repo.open(), bytes);
    qunsetenv("GNUPGHOME");
    if (!before.isNull())
        qputenv("GNUPGHOME", before);
    QVERIFY2(signature, signature ? "" : signature.error().line().c_str());
    const std::string id = repo.writeRaw("commit", addSignatureHeader(bytes, *signature));
    const test::GitRun good =
        test::runProgram("git", {"verify-commit", QString::fromStdString(id)}, repo.path(), {}, environment);
    test::runProgram("gpgconf", {"--kill", "all"}, home.path(), {}, environment);
    QVERIFY2(good.exitCode == 0 && good.err.contains("Good signature"), good.err.constData());
}

void TestSigning::refused_data()
{
    QTest::addColumn<QString>("format");
    QTest::addColumn<QString>("key");
    QTest::addColumn<QString>("script");
    QTest::addColumn<int>("kind");
    QTest::addColumn<QString>("says");
    QTest::newRow("no key") << "ssh" << "" << "exit 0" << int(ErrorKind::Refused) << "no key is configured";
    QTest::newRow("program says no") << "ssh" << "~/key" << "echo 'agent refused' >&2; exit 255"
                                     << int(ErrorKind::Refused) << "agent refused";
    QTest::newRow("no signature comes") << "ssh" << "~/key" << "exit 0" << int(ErrorKind::Refused)
                                        << "could not be signed";
    QTest::newRow("gpg that only pretends")
        << "openpgp" << "ABCD" << "echo x" << int(ErrorKind::Refused) << "could not be signed";
    QTest::newRow("program missing") << "ssh" << "~/key" << "" << int(ErrorKind::NotFound) << "not found";
    QTest::newRow("unknown format") << "wax" << "ABCD" << "exit 0" << int(ErrorKind::Unsupported) << "unknown format";
}

void TestSigning::refused()
{
    QFETCH(QString, format);
    QFETCH(QString, key);
    QFETCH(QString, script);
    QFETCH(int, kind);
    QFETCH(QString, says);
    TempRepository repo;
    const QString program = repo.outside() + "/program";
    configure(repo, {{"gpg.format", format}, {"gpg." + format + ".program", program}});
    if (!key.isEmpty())
        configure(repo, {{"user.signingKey", key}});
    if (!script.isEmpty()) {
        repo.writeFile("../program", "#!/bin/sh\ncat >/dev/null\n" + script.toStdString() + "\n");
        QVERIFY(QFile::setPermissions(program, QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
    }
    const auto signature = signCommit(repo.open(), "the commit");
    QVERIFY(!signature);
    QCOMPARE(int(signature.error().kind), kind);
    const std::string line = signature.error().line();
    QVERIFY2(line.contains(says.toStdString()) && !line.contains('\n'), line.c_str());
    QVERIFY(!signature.error().remedy.empty());
}

QTEST_GUILESS_MAIN(TestSigning)
#include "test_signing.moc"

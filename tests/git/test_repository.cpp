// SPDX-License-Identifier: MIT
#include "core/git/repository.h"
#include "tests/support/temp_repository.h"

#include <QDir>
#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;
namespace fs = std::filesystem;

class TestRepository : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void opens_data();
    void opens();
    void refuses_data();
    void refuses();
    void openingChangesNothing();
    void config();
    void configFollowsTheEnvironment();
    void resolve();
    void identity_data();
    void identity();

  private:
    // Makes what `what` names below `repo`, and returns the path to open.
    static fs::path prepare(TempRepository& repo, const QString& what);
};

fs::path TestRepository::prepare(TempRepository& repo, const QString& what)
{
    const fs::path around = repo.outside().toStdString();
    const fs::path inside = repo.fsPath();
    if (what == "missing path")
        return around / "no" / "such";
    if (what == "plain folder") {
        fs::create_directory(around / "plain");
        return around / "plain";
    }
    if (what == "file in a plain folder") {
        fs::create_directory(around / "plain");
        repo.writeFile("../plain/file", "x");
        return around / "plain" / "file";
    }
    if (what == "subfolder") {
        fs::create_directories(inside / "deep" / "er");
        return inside / "deep" / "er";
    }
    if (what == "bare, not said so")
        repo.git({"config", "--unset", "core.bare"});
    if (what == "bare, without settings")
        fs::remove(inside / "config");
    if (what.startsWith("git directory elsewhere")) {
        repo.git({"init", "-q", "--separate-git-dir", "../elsewhere", "../away"});
        return around / (what.endsWith("itself") ? "elsewhere" : "away");
    }
    if (what == "git directory")
        return inside / ".git";
    if (what == "linked worktree") {
        repo.commitFiles({{"a", "1"}}, "First\n", {}, "topic");
        repo.git({"worktree", "add", "-q", "../linked", "topic"});
        return around / "linked";
    }
    if (what == "shallow clone") {
        const std::string first = repo.commitFiles({{"a", "1"}}, "First\n");
        repo.commitFiles({{"a", "2"}}, "Second\n", {first}, "main");
        repo.git({"clone", "-q", "--depth=1", "file://" + repo.path(), "../shallow"});
        return around / "shallow";
    }
    if (what.startsWith("partial clone")) {
        repo.commitFiles({{"a", "1"}}, "First\n", {}, "main");
        repo.git({"config", "uploadpack.allowFilter", "true"});
        repo.git({"clone", "-q", "--filter=blob:none", "file://" + repo.path(), "../partial"});
        if (what.endsWith("by the extension")) {
            repo.git({"-C", "../partial", "config", "extensions.partialClone", "origin"});
            repo.git({"-C", "../partial", "config", "--unset", "remote.origin.promisor"});
            repo.git({"-C", "../partial", "config", "--unset", "remote.origin.partialclonefilter"});
        }
        return around / "partial";
    }
    if (what.endsWith("linked worktree of SHA-256")) {
        const TempRepository other(TempRepository::Worktree, {"--object-format=sha256"});
        fs::copy(other.fsPath(), around / "wide", fs::copy_options::recursive);
        fs::create_directories(around / "wide/.git/worktrees/link");
        repo.writeFile("../wide/.git/worktrees/link/commondir", "../..\n");
        repo.writeFile("../wide/.git/worktrees/link/HEAD", "ref: refs/heads/main\n");
        repo.writeFile("../wide/.git/worktrees/link/gitdir", (around / "link/.git").string() + "\n");
        repo.writeFile("../link/.git", "gitdir: " + (around / "wide/.git/worktrees/link").string() + "\n");
        return around / "link";
    }
    if (what == "damaged config")
        repo.writeFile(".git/config", "[core\n\tbare");
    if (what == "future format")
        repo.git({"config", "core.repositoryFormatVersion", "7"});
    return inside;
}

void TestRepository::opens_data()
{
    QTest::addColumn<bool>("bare");
    QTest::addColumn<QString>("folder"); // of the worktree or the bare repository, from the folder around
    QTest::newRow("worktree") << false << "tidebook";
    QTest::newRow("bare") << true << "tidebook.git";
    QTest::newRow("bare, not said so") << true << "tidebook.git";
    QTest::newRow("bare, without settings") << true << "tidebook.git";
    QTest::newRow("git directory elsewhere") << false << "away";
    QTest::newRow("git directory elsewhere, itself") << true << "elsewhere";
    QTest::newRow("subfolder") << false << "tidebook";
    QTest::newRow("git directory") << false << "tidebook";
    QTest::newRow("linked worktree") << false << "linked";
    QTest::newRow("shallow clone") << false << "shallow";
}

void TestRepository::opens()
{
    QFETCH(bool, bare);
    QFETCH(QString, folder);
    TempRepository repo(bare ? TempRepository::Bare : TempRepository::Worktree);
    const fs::path path = prepare(repo, QString::fromUtf8(QTest::currentDataTag()));
    const auto opened = Repository::open(path);
    QVERIFY2(opened, opened ? "" : opened.error().line().c_str());
    QCOMPARE(opened->isBare(), bare);
    QCOMPARE(opened->name(), folder.toStdString());
    const fs::path whole = fs::canonical(repo.outside().toStdString()) / folder.toStdString();
    QVERIFY(fs::equivalent(bare ? opened->gitDir() : opened->workDir(), whole));
    QCOMPARE(opened->workDir().empty(), bare);
    // Reference: git rev-parse in the same place.
    const auto git = [&](const char* what) {
        const QString where = QString::fromStdString(path.string());
        return repo.git({"-C", where, "rev-parse", "--path-format=absolute", what});
    };
    QVERIFY(fs::equivalent(opened->gitDir(), git("--git-dir")));
    QVERIFY(fs::equivalent(opened->commonDir(), git("--git-common-dir")));
    const auto again = Repository::open(opened->path());
    QVERIFY(again);
    QCOMPARE(again->gitDir(), opened->gitDir());
}

void TestRepository::refuses_data()
{
    QTest::addColumn<QStringList>("options");
    QTest::addColumn<int>("kind");
    QTest::addColumn<QString>("says");
    const QStringList none;
    QTest::newRow("missing path") << none << int(ErrorKind::NotFound) << "no such folder";
    QTest::newRow("plain folder") << none << int(ErrorKind::NotFound) << "not in a git repository";
    QTest::newRow("file in a plain folder") << none << int(ErrorKind::NotFound) << "not in a git repository";
    QTest::newRow("SHA-256") << QStringList{"--object-format=sha256"} << int(ErrorKind::Unsupported) << "by sha256";
    QTest::newRow("linked worktree of SHA-256") << none << int(ErrorKind::Unsupported) << "by sha256";
    QTest::newRow("reftable") << QStringList{"--ref-format=reftable"} << int(ErrorKind::Unsupported) << "'reftable'";
    QTest::newRow("partial clone") << none << int(ErrorKind::Unsupported) << "partial clone";
    QTest::newRow("partial clone by the extension") << none << int(ErrorKind::Unsupported) << "partial clone";
    QTest::newRow("damaged config") << none << int(ErrorKind::Broken) << "cannot be opened";
    QTest::newRow("future format") << none << int(ErrorKind::Broken) << "cannot be opened";
}

void TestRepository::refuses()
{
    QFETCH(QStringList, options);
    QFETCH(int, kind);
    QFETCH(QString, says);
    TempRepository repo(TempRepository::Worktree, options);
    const fs::path path = prepare(repo, QString::fromUtf8(QTest::currentDataTag()));
    const auto opened = Repository::open(path);
    QVERIFY(!opened);
    const std::string line = opened.error().line();
    QVERIFY2(line.contains(says.toStdString()), line.c_str());
    QCOMPARE(int(opened.error().kind), kind);
    QCOMPARE(opened.error().on, path.string());
    QVERIFY(!opened.error().remedy.empty());
    QVERIFY(!line.contains('\n'));
}

void TestRepository::openingChangesNothing()
{
    TempRepository repo;
    repo.commitFiles({{"a", "1"}}, "First\n", {}, "main");
    const auto before = test::folderState(repo.fsPath());
    const Repository opened = repo.open();
    QVERIFY(opened.resolve("main"));
    opened.config("user.name");
    QCOMPARE(test::folderState(repo.fsPath()), before);
}

void TestRepository::config()
{
    TempRepository repo;
    Repository opened = repo.open();
    QCOMPARE(opened.config("espalier.fork"), std::nullopt);
    QVERIFY(opened.setConfig("espalier.fork", "origin"));
    QCOMPARE(opened.config("espalier.fork"), std::optional<std::string>("origin"));
    QCOMPARE(repo.git({"config", "--local", "espalier.fork"}), "origin");
    repo.git({"config", "commit.gpgSign", "yes"});
    QCOMPARE(repo.open().configBool("commit.gpgsign", false), true);
    QCOMPARE(repo.open().configBool("no.such", true), true);
    QVERIFY(!opened.setConfig("no dots", "x"));
}

// git(1), "Environment Variables": GIT_CONFIG_GLOBAL and GIT_CONFIG_SYSTEM name the files to read.
void TestRepository::configFollowsTheEnvironment()
{
    TempRepository repo;
    repo.writeFile("../global", "[user]\n\tname = Global\n[push]\n\tdefault = nothing\n");
    repo.writeFile("../system", "[user]\n\temail = system@example.org\n\tname = System\n");
    repo.git({"config", "push.default", "simple"});
    const QByteArray global = qgetenv("GIT_CONFIG_GLOBAL"), noSystem = qgetenv("GIT_CONFIG_NOSYSTEM");
    qputenv("GIT_CONFIG_GLOBAL", (repo.outside() + "/global").toUtf8());
    qputenv("GIT_CONFIG_SYSTEM", (repo.outside() + "/system").toUtf8());
    qunsetenv("GIT_CONFIG_NOSYSTEM");
    const Repository opened = repo.open();
    qputenv("GIT_CONFIG_GLOBAL", global);
    qunsetenv("GIT_CONFIG_SYSTEM");
    qputenv("GIT_CONFIG_NOSYSTEM", noSystem);
    QCOMPARE(opened.config("user.name"), std::optional<std::string>("Global"));
    QCOMPARE(opened.config("user.email"), std::optional<std::string>("system@example.org"));
    QCOMPARE(opened.config("push.default"), std::optional<std::string>("simple"));
    Repository changed = repo.open();
    QVERIFY(changed.setConfig("espalier.fork", "origin"));
    QCOMPARE(repo.git({"config", "--local", "espalier.fork"}), "origin");
    QVERIFY(!repo.readFile("../global").contains("espalier"));
}

void TestRepository::resolve()
{
    TempRepository repo;
    const std::string first = repo.commitFiles({{"a", "1"}}, "First\n");
    const std::string second = repo.commitFiles({{"a", "2"}}, "Second\n", {first}, "main");
    repo.git({"tag", "-a", "-m", "v1", "v1", "main"});
    const Repository opened = repo.open();
    for (const std::string name : {"main", "refs/heads/main", "HEAD", "v1", "HEAD^0"})
        QCOMPARE(opened.resolve(name)->hex(), second);
    QCOMPARE(opened.resolve("main~1")->hex(), first);
    QCOMPARE(opened.resolve(second.substr(0, 10))->hex(), second);
    for (const std::string name :
         {"no-such", "", "main:a", "v1^{tree}", "main~9", "0123456789012345678901234567890123456789"}) {
        const auto none = opened.resolve(name);
        QVERIFY2(!none, name.c_str());
        QCOMPARE(none.error().kind, ErrorKind::NotFound);
        QCOMPARE(none.error().on, name);
    }
}

void TestRepository::identity_data()
{
    QTest::addColumn<QString>("name");
    QTest::addColumn<QString>("committerName");
    QTest::addColumn<QByteArray>("variable");
    QTest::addColumn<QString>("expected"); // empty: refused
    QTest::newRow("configured") << "Mira Holm" << "" << QByteArray() << "Mira Holm";
    QTest::newRow("committer before user") << "Mira Holm" << "Committer" << QByteArray() << "Committer";
    QTest::newRow("environment before all") << "Mira Holm" << "Committer" << QByteArray("Env") << "Env";
    QTest::newRow("not configured") << "" << "" << QByteArray() << "";
    QTest::newRow("nothing but crud") << "<.,>" << "" << QByteArray() << ".";
    QTest::newRow("no headers by the back door") << "Mira\nparent <x>" << "" << QByteArray() << "Miraparent x";
}

void TestRepository::identity()
{
    QFETCH(QString, name);
    QFETCH(QString, committerName);
    QFETCH(QByteArray, variable);
    QFETCH(QString, expected);
    for (const char* foreign : {"GIT_COMMITTER_NAME", "GIT_COMMITTER_EMAIL", "EMAIL"})
        qunsetenv(foreign);
    TempRepository repo;
    repo.git({"config", "user.email", "mira@example.org"});
    if (!name.isEmpty())
        repo.git({"config", "user.name", name});
    if (!committerName.isEmpty())
        repo.git({"config", "committer.name", committerName});
    if (!variable.isNull())
        qputenv("GIT_COMMITTER_NAME", variable);
    const auto identity = committerIdentity(repo.open());
    qunsetenv("GIT_COMMITTER_NAME");
    QCOMPARE(identity.has_value(), !expected.isEmpty());
    if (identity) {
        QCOMPARE(*identity, (Identity{expected.toStdString(), "mira@example.org"}));
    } else {
        QCOMPARE(identity.error().kind, ErrorKind::Refused);
        QVERIFY(identity.error().remedy.contains("git config --global user.name"));
    }
}

QTEST_GUILESS_MAIN(TestRepository)
#include "test_repository.moc"

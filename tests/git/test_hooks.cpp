// SPDX-License-Identifier: MIT
#include "core/git/hooks.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

const Oid one = *Oid::parse("1111111111111111111111111111111111111111");
const Oid two = *Oid::parse("2222222222222222222222222222222222222222");

void writeHook(const TempRepository& repo, const std::string& path, const std::string& script, bool mayRun = true)
{
    repo.writeFile(path, "#!/bin/sh\n" + script + "\n");
    QFile::setPermissions(repo.path() + "/" + QString::fromStdString(path),
                          mayRun ? QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner
                                 : QFile::ReadOwner | QFile::WriteOwner);
}

} // namespace

class TestHooks : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void where();
    void prePush();
    void afterwards();
    void linkedWorktree();
    void bare();
};

void TestHooks::where()
{
    TempRepository repo;
    QVERIFY(hookPath(repo.open(), "pre-push").empty());
    QVERIFY(!runHook(repo.open(), "pre-push", {}, {})->ran);
    writeHook(repo, ".git/hooks/pre-push", "exit 0", false);
    QVERIFY(hookPath(repo.open(), "pre-push").empty());
    writeHook(repo, ".git/hooks/pre-push", "exit 0");
    QVERIFY(!hookPath(repo.open(), "pre-push").empty());
    // Relative to where hooks run; a configured folder replaces the usual one.
    repo.git({"config", "core.hooksPath", "tools/hooks"});
    QVERIFY(hookPath(repo.open(), "pre-push").empty());
    writeHook(repo, "tools/hooks/pre-push", "exit 7");
    QCOMPARE(runHook(repo.open(), "pre-push", {}, {})->exitCode, 7);
}

void TestHooks::prePush()
{
    TempRepository repo;
    const std::vector<HookRef> refs{{"refs/heads/topic", two, "refs/heads/topic", one},
                                    {"(delete)", {}, "refs/heads/old", one}};
    QVERIFY(runPrePush(repo.open(), "origin", "../fork.git", refs));
    writeHook(repo, ".git/hooks/pre-push", "echo \"$# $1 $2 $PWD\" > said; cat >> said");
    QVERIFY(runPrePush(repo.open(), "origin", "../fork.git", refs));
    const std::string folder = std::filesystem::canonical(repo.fsPath()).string();
    QCOMPARE(repo.readFile("said"), "2 origin ../fork.git " + folder + "\nrefs/heads/topic " + two.hex() +
                                        " refs/heads/topic " + one.hex() + "\n(delete) " + Oid{}.hex() +
                                        " refs/heads/old " + one.hex() + "\n");
    writeHook(repo, ".git/hooks/pre-push", "echo looking >&2; echo 'tests \033[1mfail' >&2; exit 1");
    const auto refused = runPrePush(repo.open(), "origin", "../fork.git", refs);
    QVERIFY(!refused);
    QCOMPARE(refused.error().kind, ErrorKind::Refused);
    QVERIFY2(refused.error().line().contains("tests \\x1B[1mfail"), refused.error().line().c_str());
}

void TestHooks::afterwards()
{
    TempRepository repo;
    QCOMPARE(runPostRewrite(repo.open(), {{one, two}}), "");
    writeHook(repo, ".git/hooks/post-rewrite", "{ echo \"$*\"; cat; } > said");
    QCOMPARE(runPostRewrite(repo.open(), {{one, two}, {two, one}}), "");
    QCOMPARE(repo.readFile("said"),
             "rebase\n" + one.hex() + " " + two.hex() + "\n" + two.hex() + " " + one.hex() + "\n");
    writeHook(repo, ".git/hooks/post-checkout", "echo \"$*\" > said; echo no >&2; exit 2");
    QCOMPARE(runPostCheckout(repo.open(), one, two, true), "The hook post-checkout failed with status 2: no");
    QCOMPARE(repo.readFile("said"), one.hex() + " " + two.hex() + " 1\n");
}

void TestHooks::linkedWorktree()
{
    TempRepository repo;
    repo.commitFiles({{"a", "1"}}, "First\n", {}, "topic");
    repo.git({"worktree", "add", "-q", "../linked", "topic"});
    writeHook(repo, ".git/hooks/post-checkout", "pwd -P > said; git rev-parse --abbrev-ref HEAD >> said");
    const auto linked = Repository::open(repo.outside().toStdString() + "/linked");
    QVERIFY(linked);
    QCOMPARE(runPostCheckout(*linked, one, two, true), "");
    const std::string folder = std::filesystem::canonical(repo.outside().toStdString() + "/linked").string();
    QCOMPARE(repo.readFile("../linked/said"), folder + "\ntopic\n");
}

void TestHooks::bare()
{
    TempRepository repo(TempRepository::Bare);
    writeHook(repo, "hooks/pre-push", "pwd -P > said");
    QVERIFY(runPrePush(repo.open(), "origin", "url", {}));
    QCOMPARE(repo.readFile("said"), std::filesystem::canonical(repo.fsPath()).string() + "\n");
}

QTEST_GUILESS_MAIN(TestHooks)
#include "test_hooks.moc"

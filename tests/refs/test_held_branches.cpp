// SPDX-License-Identifier: MIT
//
// Branches that a worktree stands on, against what `git branch -f` and `git worktree list` say of the same.
#include "core/keep/apply.h"
#include "core/keep/logbook.h"
#include "core/refs/held_branches.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

std::map<std::string, bool> heldBy(const Repository& repository)
{
    std::map<std::string, bool> held;
    for (const HeldBranch& branch : heldBranches(repository))
        held.emplace(branch.ref, branch.here);
    return held;
}

} // namespace

class TestHeldBranches : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void allKinds()
    {
        TempRepository repo;
        const auto a = repo.commitFiles({{"f", "1\n"}}, "A", {}, "main");
        const auto main = repo.commitFiles({{"f", "2\n"}}, "B", {a}, "main");
        for (const char* branch : {"linked", "locked", "gone", "bisected", "free"})
            repo.git({"branch", branch, QString::fromStdString(a)});
        const auto below = repo.commitFiles({{"g", "1\n"}}, "Below", {a}, "below");
        repo.commitFiles({{"f", "3\n"}}, "Topic", {below}, "topic");
        repo.git({"reset", "-q", "--hard"});
        const auto add = [&](const QString& branch) {
            const QString at = repo.outside() + "/" + branch;
            repo.git({"worktree", "add", "-q", at, branch});
            return at;
        };
        const QString linked = add("linked"), locked = add("locked"), gone = add("gone"), bisected = add("bisected"),
                      topic = add("topic");
        repo.git({"worktree", "lock", locked});
        for (const QString& at : {locked, gone})
            QVERIFY(QDir(at).removeRecursively());
        repo.git({"-C", bisected, "bisect", "start"});
        repo.git({"-C", bisected, "checkout", "-q", "--detach"});
        // Stops at the conflict with HEAD detached; `below` will be moved with it.
        const GitRun rebased = repo.tryGit(
            {"-C", topic, "-c", "user.name=A", "-c", "user.email=a@example.org", "rebase", "--update-refs", "main"});
        QVERIFY(rebased.exitCode != 0);
        const std::map<std::string, bool> expected{{"refs/heads/main", true},    {"refs/heads/linked", false},
                                                   {"refs/heads/locked", false}, {"refs/heads/bisected", false},
                                                   {"refs/heads/topic", false},  {"refs/heads/below", false}};
        QCOMPARE(heldBy(repo.open()), expected);
        // git refuses to move just these, and the one whose worktree is gone until that is pruned: nothing can be lost there.
        repo.git({"worktree", "prune"});
        for (const auto& line :
             QString::fromStdString(repo.git({"for-each-ref", "--format=%(refname:short)", "refs/heads"}))
                 .split('\n')) {
            const bool refused = repo.tryGit({"branch", "-f", line, QString::fromStdString(main)}).exitCode != 0;
            QCOMPARE(refused, expected.contains("refs/heads/" + line.toStdString()));
        }
        const auto there = Repository::open(linked.toStdString());
        QVERIFY(there.has_value());
        QVERIFY(heldBy(*there).at("refs/heads/linked"));
        QVERIFY(!heldBy(*there).at("refs/heads/main"));
    }

    // What stands on a disk that is not there now is not moved under its worktree.
    void lockedIsNotMoved()
    {
        TempRepository repo;
        const auto a = repo.commitFiles({{"f", "1\n"}}, "A", {}, "main");
        repo.git({"branch", "locked", QString::fromStdString(a)});
        const QString at = repo.outside() + "/locked";
        repo.git({"worktree", "add", "-q", "--lock", at, "locked"});
        QVERIFY(QDir(at).removeRecursively());
        Repository opened = repo.open();
        const auto deleted = deleteBranch(opened, "locked", *Oid::parse(a));
        QVERIFY(!deleted.has_value());
        QVERIFY(deleted.error().line().contains("another worktree"));
        QCOMPARE(repo.git({"rev-parse", "locked"}), a);
    }
};

QTEST_GUILESS_MAIN(TestHeldBranches)
#include "test_held_branches.moc"

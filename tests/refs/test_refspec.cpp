// SPDX-License-Identifier: MIT
//
// Names of refs and refspecs. The reference for what is well formed is git itself: check-ref-format, and fetch with the
// refspec from a repository with one branch.
#include "core/refs/ref_name.h"
#include "core/refs/refspec.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestRefspec : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void branchNames()
    {
        const TempRepository repo;
        for (const char* name : {"topic/x", "a..b", "-a", "HEAD", "a.lock", "a/.b",     "a@{b",
                                 "a b",     "a~",   "a^", "a:",   "a?",     "a*",       "a[",
                                 "a\\b",    "a/",   "/a", "a//b", "a.",     "\xc3\xa4", "refs/heads/a"}) {
            const bool git = repo.tryGit({"check-ref-format", "--branch", QString::fromUtf8(name)}).exitCode == 0;
            QVERIFY2(isBranchName(name) == git, name);
        }
        // Well formed, but everywhere another word for HEAD (gitrevisions(7)).
        QVERIFY(!isBranchName("@"));
    }

    void refsOfPullRequests()
    {
        const std::pair<const char*, const char*> numbers[] = {{"refs/pull/12/head", "12"},
                                                               {"refs/pull/12/merge", "12"},
                                                               {"refs/merge-requests/3/head", "3"},
                                                               {"refs/remotes/upstream/pr/12", "12"},
                                                               {"refs/remotes/a/b/pull/7/head", "7"},
                                                               {"refs/heads/pr/12", ""},
                                                               {"refs/tags/pull/1", ""},
                                                               {"refs/remotes/pr/12", ""}, // a remote of that name
                                                               {"refs/remotes/upstream/pr/fix", ""},
                                                               {"refs/remotes/upstream/wrapr/12", ""},
                                                               {"refs/pull/12", "12"},
                                                               {"refs/pull/", ""},
                                                               {"refs/pull", ""},
                                                               {"12", ""},
                                                               {"", ""}};
        for (const auto& [ref, number] : numbers)
            QCOMPARE(pullRequestOf(ref), std::string(number));
    }

    void namesInTheWay()
    {
        QVERIFY(standInEachOthersWay("refs/heads/a", "refs/heads/a/b"));
        QVERIFY(standInEachOthersWay("refs/heads/a/b", "refs/heads/a"));
        QVERIFY(!standInEachOthersWay("refs/heads/a", "refs/heads/ab"));
        QVERIFY(!standInEachOthersWay("refs/heads/a", "refs/heads/a"));
        const std::set<std::string> names{"refs/heads/a", "refs/heads/a-b", "refs/heads/c/d/e"};
        QCOMPARE(inTheWay(names, "refs/heads/a/x"), "refs/heads/a");
        QCOMPARE(inTheWay(names, "refs/heads/c"), "refs/heads/c/d/e");
        QCOMPARE(inTheWay(names, "refs/heads/c/d/f"), "");
        QCOMPARE(inTheWay(names, "refs/heads/a"), "");
    }

    void wellFormed()
    {
        TempRepository repo;
        repo.commitFiles({{"a.txt", "a\n"}}, "One", {}, "main");
        repo.git({"init", "--quiet", repo.outside() + "/other"});
        const QString other = repo.outside() + "/other";
        for (const char* text : {"refs/heads/main", "+refs/heads/*:refs/remotes/o/*", "^refs/heads/x", "^refs/heads/x*",
                                 "refs/heads/*", "main", "main:refs/remotes/o/m", "refs/heads/*:refs/remotes/o/m",
                                 "refs/heads/main:refs/remotes/o/*", "^a:b", "^", "HEAD:refs/remotes/o/h", "",
                                 "refs/heads/m*n:refs/remotes/o/x*y", "refs/heads/a..b:refs/remotes/o/x",
                                 "refs/heads/**:refs/remotes/o/*", "+main", "main:x y", "heads/*:refs/remotes/o/*"}) {
            runProgram("git", {"config", "--replace-all", "remote.o.url", repo.path()}, other);
            runProgram("git", {"config", "--replace-all", "remote.o.fetch", QString::fromUtf8(text)}, other);
            const GitRun run = runProgram("git", {"fetch", "o"}, other);
            const bool git = !run.err.contains("invalid refspec");
            QVERIFY2(Refspec::parse(text).has_value() == git, (std::string(text) + run.err.toStdString()).c_str());
        }
    }

    void placesOfRefs()
    {
        const std::vector<Refspec> specs{Refspec::parse("+refs/heads/*:refs/remotes/o/*").value(),
                                         Refspec::parse("^refs/heads/wip/*").value()};
        QCOMPARE(destinationOf(specs, "refs/heads/topic/x"), "refs/remotes/o/topic/x");
        QCOMPARE(destinationOf(specs, "refs/heads/wip/x"), "");
        QCOMPARE(destinationOf(specs, "refs/tags/v1"), "");
        QCOMPARE(specs[0].sourceOf("refs/remotes/o/a"), std::optional<std::string>("refs/heads/a"));
        QVERIFY(!specs[0].sourceOf("refs/remotes/p/a"));
        QVERIFY(specs[0].force && !specs[1].force && specs[1].negative);
        QVERIFY(isFetchable("refs/remotes/o/a") && isFetchable("refs/tags/v1"));
        for (const char* ref : {"refs/heads/a", "refs/espalier/kept/x/0", "refs/notes/a", "HEAD", "refs/remotes"})
            QVERIFY2(!isFetchable(ref), ref);
    }
};

QTEST_GUILESS_MAIN(TestRefspec)
#include "test_refspec.moc"

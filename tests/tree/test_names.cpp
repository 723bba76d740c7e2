// SPDX-License-Identifier: MIT
//
// Which paths a worktree may hold. The reference is git itself: update-index --cacheinfo with both protections on.
#include "core/tree/names.h"
#include "tests/support/random_history.h"

#include <QtTest/QtTest>

using namespace espalier;
using espalier::test::SmallRandom;
using espalier::test::TempRepository;

class TestNames : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void asGit()
    {
        TempRepository repo;
        repo.git({"config", "core.protectHFS", "true"});
        repo.git({"config", "core.protectNTFS", "true"});
        std::vector<std::string> paths{"a",
                                       "a/b",
                                       ".gita",
                                       "git",
                                       ".git",
                                       ".GIT/x",
                                       "a/.git",
                                       "git~1",
                                       "GIT~1/x",
                                       "git~2",
                                       ".git ",
                                       ".git. . ",
                                       ".git:x",
                                       ".git.x",
                                       ".git\\x",
                                       "a\\.git",
                                       "a\\b",
                                       "..",
                                       "../a",
                                       "a/..",
                                       "a/../b",
                                       ".",
                                       "./a",
                                       "a/./b",
                                       "/a",
                                       "a//b",
                                       "..a",
                                       "...",
                                       "a/.gitmodules",
                                       ".git\u200c/x",
                                       ".g\u200dit",
                                       "\ufeff.git",
                                       ".git\u2060",
                                       ".g\u0131t",
                                       "\xe2\x80.git",
                                       ".git\xe2\x80",
                                       ".git\xe2",
                                       "git~1 ",
                                       "git~1.",
                                       "git~1:y",
                                       "git ~1",
                                       ".gi\xff",
                                       ".git\xef\xbf\xbf",
                                       "\xff.git"};
        SmallRandom random(3);
        const char* const parts[] = {".", "g",  "i",      "t",      "G",   "/",    "\\", " ",
                                     ":", "~1", "\u200e", "\u206a", "git", ".git", "x"};
        for (int i = 0; i < 1000; ++i) {
            std::string path;
            for (int n = random.below(6); n >= 0; --n)
                path += parts[random.below(15)];
            // git does not look behind a backslash at the very beginning of a name; this does.
            if (!path.starts_with('\\') && !path.contains("/\\"))
                paths.push_back(path);
        }
        int refused = 0;
        // One at a time into an index of its own: git stops at the first that it refuses.
        for (const std::string& path : paths) {
            const std::string line = "100644 e69de29bb2d1d6434b8b29ae775ad8c2e48c5391\t" + path + '\0';
            repo.git({"read-tree", "--empty"});
            const auto run = repo.tryGit({"update-index", "-z", "--index-info"}, QByteArray::fromStdString(line));
            const bool taken = run.exitCode == 0 && !repo.git({"ls-files", "-z"}).empty();
            QVERIFY2(isSafePath(path) == taken, path.c_str());
            refused += !taken;
        }
        QVERIFY(refused > 100);
    }
    void empty()
    {
        QVERIFY(!isSafePath(""));
        QVERIFY(!isSafePath("a/"));
        QVERIFY(!isSafePath("a/\\.git"));
        QVERIFY(!isSafeName("a/b"));
        QVERIFY(!isSafeName(std::string_view("a\0b", 3)));
    }
};

QTEST_GUILESS_MAIN(TestNames)
#include "test_names.moc"

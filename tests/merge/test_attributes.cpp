// SPDX-License-Identifier: MIT
//
// Attributes of paths, as `git check-attr` reads them from the same tree.
#include "core/merge/attributes.h"

#include "core/git/commit.h"
#include "core/merge/tree_merge.h"
#include "core/merge/wildcard.h"
#include "tests/support/random_history.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <functional>

#include <pthread.h>

using namespace espalier;
using espalier::test::GitRun;
using espalier::test::SmallRandom;
using espalier::test::TempRepository;

class TestAttributes : public QObject {
    Q_OBJECT

    static void compare(const espalier::test::Files& files)
    {
        TempRepository repo(TempRepository::Bare);
        const std::string commit = repo.commitFiles(files, "Attributes");
        const Repository opened = repo.open();
        ObjectStore store(opened);
        MergeAttributes attributes;
        const Oid tree = readCommit(store, *Oid::parse(commit)).value().tree;
        int other = 0;
        for (const char* path : {"a", "a.c", "b.c", "lib/a.c", "lib/deep/a.c", "lib/deep/er/mod.rs", "mod.rs",
                                 "src/mod.rs", "docs/x.txt", "a b.c", "x]y", "part3.h", "lib.h", "caf\xe9.txt", "star*",
                                 "DOCS/x.txt", ".hidden", "lib/.gitattributes", "src/lib/deep/a.c"}) {
            const auto found = attributes.of(store, tree, path);
            QVERIFY(found);
            const GitRun run = repo.tryGit({"check-attr", "-z", "--source=" + QString::fromStdString(commit), "--stdin",
                                            "merge", "conflict-marker-size"},
                                           QByteArray(path) + '\0');
            const QList<QByteArray> fields = run.out.split('\0');
            QVERIFY2(fields.size() >= 6, run.err.constData());
            const QByteArray& merge = fields[2];
            const MergeAttribute driver = merge == "unset" || merge == "binary" ? MergeAttribute::Binary
                                          : merge == "union"                    ? MergeAttribute::Union
                                                                                : MergeAttribute::Text;
            QVERIFY2(found->driver == driver, (std::string(path) + ": git says merge " + merge.toStdString()).c_str());
            const int size = fields[5].toInt();
            QCOMPARE(found->markerSize, size > 0 ? size : 7);
            other += driver != MergeAttribute::Text || size > 0;
        }
        QVERIFY(other > 0);
    }

  private Q_SLOTS:
    void patterns_data()
    {
        QTest::addColumn<QString>("pattern");
        for (const char* pattern : {"*",           "*.c",
                                    "a.*",         "?.c",
                                    "[ab].c",      "[!a].c",
                                    "[^b].c",      "[a-c].c",
                                    "part[0-4]*",  "part[[:digit:]].h",
                                    "x[]]y",       "lib/*",
                                    "lib/*.c",     "/a.c",
                                    "/mod.rs",     "**/mod.rs",
                                    "lib/**",      "lib/**/a.c",
                                    "**/deep/**",  "**",
                                    "*/mod.rs",    "lib/deep/../a.c",
                                    "mod.rs",      "docs/*",
                                    "d*s/x.txt",   "lib*",
                                    "\"a b.c\"",   "\"\\141 b.c\"",
                                    "a\\.c",       "star\\*",
                                    "*/*/*",       "**/*.c",
                                    "lib**a.c",    "**a.c",
                                    "*.h",         "caf*",
                                    ".*",          "l[i]b/?.c",
                                    "/**/deep/*.c"})
            QTest::addRow("%s", pattern) << pattern;
    }
    void patterns()
    {
        QFETCH(QString, pattern);
        compare({{".gitattributes",
                  "never merge\n" + pattern.toStdString() + " merge=union\nmod.rs conflict-marker-size=11\n"}});
    }

    void precedence_data()
    {
        QTest::addColumn<QString>("top");
        QTest::addColumn<QString>("inside");
        const char* const rows[][2] = {
            {"*.c merge=union\n*.c merge\n*.h -merge\n", ""},
            {"*.c merge=union\nlib/a.c !merge\n*.h -merge", "*.c conflict-marker-size=20\n"},
            {"*.c binary\n", "*.c merge=text\n"},
            {"*.c binary merge=union\nlib/*.c merge=union binary\n", ""},
            {"*.c -binary\n*.rs binary\n", "deep/*.c binary\n"},
            {"[attr]made -merge conflict-marker-size=9\n*.c made\n*.h -made\n*.rs made=x\n", "*.c !made\n"},
            {"[attr]binary merge=union\n*.c binary\n", "[attr]made -merge\n*.c made\n"},
            {"# *.c -merge\n   *.h   merge=union   # dropped\nmod.rs merge=union\n!*.c -merge\n*.rs "
             "conflict-marker-size=x\n*.txt -merge ok$\n",
             ""},
            {"docs/ -merge\nlib -merge\n*.c conflict-marker-size\n*.rs -merge conflict-marker-size=-3\n", ""},
            {"*.c\tmerge=union\r\n*.rs -merge\r\n", ""},
        };
        for (const auto& row : rows)
            QTest::addRow("%d", int(&row - rows)) << row[0] << row[1];
    }
    void precedence()
    {
        QFETCH(QString, top);
        QFETCH(QString, inside);
        compare({{".gitattributes", top.toStdString()}, {"lib/.gitattributes", inside.toStdString()}});
    }

    // Lines, files and macros at random; git's answer is the reference.
    void randomFiles_data()
    {
        QTest::addColumn<int>("seed");
        for (int seed = 1; seed <= 12; ++seed)
            QTest::addRow("%d", seed) << seed;
    }
    void randomFiles()
    {
        QFETCH(int, seed);
        SmallRandom random{std::uint64_t(seed)};
        const char* const patterns[] = {"*",      "*.c",   "a*",      "lib/*", "lib/**", "**/a.c",    "mod.rs", "*.h",
                                        "[a-l]*", "*/*.c", "docs/**", "?od*",  "/a.c",   "l*/d*/*.c", "*.*s",   "**"};
        const char* const states[] = {"", "-", "!", "=x", "=union", "=7", "=binary", ""};
        const auto settings = [&](int macros) {
            std::string line;
            for (int i = random.below(4); i >= 0; --i) {
                const std::string state = states[random.below(8)];
                const int which = random.below(macros + 3);
                const std::string name = which == 0   ? "merge"
                                         : which == 1 ? "conflict-marker-size"
                                         : which == 2 ? "binary"
                                                      : "m" + std::to_string(which - 3);
                line += ' ' + (state == "-" || state == "!" ? state + name : name + state);
            }
            return line;
        };
        std::string top = seed % 3 == 0 ? "\xef\xbb\xbf" : "", inside;
        for (int i = 0; i < 30; ++i)
            top += random.chance(50) ? "[attr]m" + std::to_string(random.below(12)) + settings(12) + '\n'
                                     : patterns[random.below(16)] + settings(12) + '\n';
        for (int i = 0; i < 10; ++i)
            inside += patterns[random.below(16)] + settings(12) + (i == 8 ? std::string("\n\0* -merge\n", 12) : "\n");
        // Lines just below, at and above the length that git still reads, with and without blanks before them.
        for (int length = 2044; length < 2052; ++length)
            top += std::string(std::size_t(length % 2 * 3), ' ') +
                   "mod.rs conflict-marker-size=" + std::to_string(length % 89 + 1) +
                   std::string(std::size_t(length - 30 - length % 2 * 3 - (length % 89 > 8)), ' ') + "\n";
        top += "* merge=union\n*.h conflict-marker-size=21\n";
        compare({{".gitattributes", top}, {"lib/.gitattributes", inside}});
    }

    // Every pattern of stars, sets and slashes, each with an attribute of its own; git's answer is the reference.
    void randomPatterns()
    {
        SmallRandom random{5};
        const char* const parts[] = {"*", "**", "/", "a", "b", "?", "[ab]", "**/", "/**/", "/**", "[!a]", "*a", "\\b"};
        const char* const names[] = {"a",     "b",     "ab",    "ba",      "aab",   "a/b",
                                     "a/a/b", "b/a/a", "ab/ba", "a/b/a/b", "aaaaab"};
        std::vector<std::string> patterns;
        while (patterns.size() < 300) {
            std::string pattern;
            for (int i = random.below(6); i >= 0; --i)
                pattern += parts[random.below(13)];
            if (!pattern.ends_with('/') && pattern != "\\")
                patterns.push_back(pattern);
        }
        std::string file;
        QStringList asked{"check-attr", "-z", "--stdin"};
        for (std::size_t i = 0; i < patterns.size(); ++i) {
            file += patterns[i] + " p" + std::to_string(i) + '\n';
            asked.append("p" + QString::number(i));
        }
        TempRepository repo(TempRepository::Bare);
        asked.insert(1, "--source=" + QString::fromStdString(repo.commitFiles({{".gitattributes", file}}, "Patterns")));
        QByteArray paths;
        for (const char* name : names)
            paths.append(name).append('\0');
        const QList<QByteArray> fields = repo.tryGit(asked, paths).out.split('\0');
        QCOMPARE(fields.size(), qsizetype(3 * patterns.size() * std::size(names) + 1));
        int matching = 0;
        for (std::size_t at = 0; at < std::size(names) * patterns.size(); ++at) {
            const std::string &pattern = patterns[at % patterns.size()], path = fields[qsizetype(at) * 3].toStdString();
            const bool anchored = pattern.contains('/');
            long steps = 100000;
            const bool found = matchesWildcard(pattern.starts_with('/') ? pattern.substr(1) : pattern,
                                               anchored ? path : path.substr(path.rfind('/') + 1), steps);
            QVERIFY2(found == (fields[qsizetype(at) * 3 + 2] == "set"), (pattern + " on " + path).c_str());
            matching += found;
        }
        QVERIFY(matching > 100);
    }
    // Stars that all fit for long: the work is bounded, and a file of such lines is refused, not waited for.
    void costlyPatterns()
    {
        std::string stars, path(4000, 'a');
        for (int i = 0; i < 200; ++i)
            stars += "a*";
        long steps = 2'000'000;
        QVERIFY(!matchesWildcard(stars + 'b', path, steps));
        QVERIFY(steps > 0); // came to an answer
        // What stars cannot help with is still looked at everywhere.
        std::string file;
        for (int i = 0; i < 30; ++i)
            file += '*' + std::string(1500, 'a') + "b merge=union\n";
        TempRepository repo(TempRepository::Bare);
        const Repository opened = repo.open();
        const std::string commit = repo.commitFiles({{".gitattributes", file}}, "Costly");
        ObjectStore store(opened);
        MergeAttributes attributes;
        const Oid tree = readCommit(store, *Oid::parse(commit)).value().tree;
        const auto refused = attributes.of(store, tree, path);
        QVERIFY(!refused);
        QCOMPARE(refused.error().kind, ErrorKind::Unsupported);
        QVERIFY(attributes.of(store, tree, "short"));
    }
    // A file of a size that no project has is refused in words.
    void largeFile()
    {
        TempRepository repo(TempRepository::Bare);
        std::string file = "*.c merge=union\n";
        while (file.size() < 9 * 1024 * 1024)
            file += "*.x a\n";
        const Repository opened = repo.open();
        const std::string commit = repo.commitFiles({{".gitattributes", file}}, "Large");
        ObjectStore store(opened);
        MergeAttributes attributes;
        const auto refused = attributes.of(store, readCommit(store, *Oid::parse(commit)).value().tree, "a.c");
        QVERIFY(!refused);
        QCOMPARE(refused.error().kind, ErrorKind::Unsupported);
    }

    // Found from outside: a chain of macros as long as a file of a megabyte holds overflowed the stack.
    void chainedMacros_data()
    {
        QTest::addColumn<int>("links");
        QTest::addColumn<bool>("cycle");
        QTest::newRow("chain") << 74000 << false;
        QTest::newRow("cycle") << 74000 << true;
        QTest::newRow("itself") << 1 << true;
    }
    void chainedMacros()
    {
        QFETCH(int, links);
        QFETCH(bool, cycle);
        const auto name = [](int n) {
            std::string text;
            for (int i = 0; i < 3; ++i, n /= 62)
                text += "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"[n % 62];
            return text;
        };
        std::string file = "* " + name(0) + '\n';
        for (int i = 0; i < links; ++i)
            file += "[attr]" + name(i) + ' ' + (i + 1 == links ? cycle ? name(0) : "-merge" : name(i + 1)) + '\n';
        TempRepository repo(TempRepository::Bare);
        const std::string base = repo.commitFiles({{".gitattributes", file}, {"a.txt", "one\n"}}, "Base");
        const std::string left = repo.commitFiles({{"a.txt", "two\n"}}, "Left", {base});
        const std::string right = repo.commitFiles({{"a.txt", "three\n"}}, "Right", {base});
        const Repository opened = repo.open();
        ObjectStore store(opened);
        MergeCaches caches;
        const auto tree = [&](const std::string& commit) {
            return readCommit(store, *Oid::parse(commit)).value().tree;
        };
        Result<TreeMerge> merged;
        // Less of a stack than any worker has, so that the depth counts whatever a frame takes.
        std::function<void()> work = [&] {
            merged = mergeTrees(store, tree(base), tree(left), tree(right), MergeOptions{}, caches);
        };
        pthread_attr_t small;
        pthread_t worker{};
        QVERIFY(pthread_attr_init(&small) == 0 && pthread_attr_setstacksize(&small, 512 * 1024) == 0);
        const auto run = [](void* given) -> void* {
            (*static_cast<std::function<void()>*>(given))();
            return nullptr;
        };
        QCOMPARE(pthread_create(&worker, &small, run, &work), 0);
        QCOMPARE(pthread_join(worker, nullptr), 0);
        pthread_attr_destroy(&small);
        QVERIFY2(merged, merged ? "" : merged.error().line().c_str());
        QCOMPARE(merged->conflicts.size(), std::size_t(1));
        QCOMPARE(merged->conflicts[0].kind == ConflictKind::Binary, !cycle);
    }
};

QTEST_GUILESS_MAIN(TestAttributes)
#include "test_attributes.moc"

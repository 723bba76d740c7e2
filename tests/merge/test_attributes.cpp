// SPDX-License-Identifier: MIT
//
// Attributes of paths, as `git check-attr` reads them from the same tree.
#include "core/merge/attributes.h"

#include "core/git/commit.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using espalier::test::GitRun;
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
};

QTEST_GUILESS_MAIN(TestAttributes)
#include "test_attributes.moc"

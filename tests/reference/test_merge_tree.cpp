// SPDX-License-Identifier: MIT
//
// core/merge against `git merge-tree --write-tree` (git 2.47), the reference: invented histories with fixed seeds.
// ESPALIER_MERGE_SEEDS=FIRST-LAST compares other seeds, 100 merges each, for longer runs by hand.
#include "tests/support/project_history.h"
#include "tests/support/reference_merge.h"
#include "tests/support/seed_rows.h"

#include <QtTest/QtTest>

using namespace espalier::test;

class TestMergeTree : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void randomMerges_data() { addSeedRows({1, 2, 4, 56, 1010}); }

    void randomMerges()
    {
        QFETCH(int, seed);
        TempRepository repo(TempRepository::Bare);
        HistoryKnobs knobs;
        // Every other seed keeps to contents, the rest renames and changes kinds.
        if (seed % 2)
            knobs.renamePercent = knobs.kindPercent = 0, knobs.files = 10;
        knobs.renameFolders = seed % 4 == 0;
        const Comparison found = compareMerges(repo, espalier::test::randomMerges(repo, std::uint64_t(seed), knobs));
        QVERIFY(found.clean > 5);
        QVERIFY(found.conflicts > 0);
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
    }

    // Histories as mean as real ones. These seeds showed, each, something that was not as in git.
    void projectMerges_data() { addSeedRows({3, 6, 12, 21, 22}); }

    void projectMerges()
    {
        QFETCH(int, seed);
        TempRepository repo(TempRepository::Bare);
        const ProjectKnobs knobs = ProjectKnobs::of(std::uint64_t(seed));
        const Comparison found = compareMerges(repo, espalier::test::projectMerges(repo, knobs), false,
                                               knobs.attributes ? ReadAttributes::OfNewBase : ReadAttributes::Nowhere);
        QVERIFY(found.clean + found.conflicts > knobs.merges * 9 / 10);
        QVERIFY(found.gitIsWrong + found.fewerStages <= 4);
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
    }

    // A real history, by hand: ESPALIER_MERGE_REPOSITORY names one. Its commits are carried onto others, drawn by lot.
    void realHistory()
    {
        const QString from = qEnvironmentVariable("ESPALIER_MERGE_REPOSITORY");
        if (from.isEmpty())
            QSKIP("ESPALIER_MERGE_REPOSITORY names no repository");
        TempRepository repo(TempRepository::Bare);
        repo.git({"fetch", "--quiet", "--no-tags", from, "+refs/*:refs/copied/*"});
        const QStringList lines =
            QString::fromStdString(repo.git({"rev-list", "--all", "--parents", "--no-merges"})).split('\n');
        SmallRandom random(qEnvironmentVariableIntValue("ESPALIER_MERGE_SEED"));
        std::vector<MergeCase> cases;
        const int wanted = qEnvironmentVariableIntValue("ESPALIER_MERGE_CASES");
        for (int i = 0; i < (wanted > 0 ? wanted : 3000); ++i) {
            const QStringList commit = lines[random.below(int(lines.size()))].split(' ');
            const std::string onto = lines[random.below(int(lines.size()))].section(' ', 0, 0).toStdString();
            if (commit.size() == 2)
                cases.push_back({commit[1].toStdString(), onto, commit[0].toStdString()});
        }
        QVERIFY(!cases.empty());
        const Comparison found = compareMerges(repo, cases, false, ReadAttributes::OfNewBase);
        qInfo("%d clean, %d with conflicts, %zu differ; git wrong %d, fewer stages %d", found.clean, found.conflicts,
              found.differences.size(), found.gitIsWrong, found.fewerStages);
        for (const std::string& merge : found.whereGitIsWrong)
            qInfo("git is wrong in %s", merge.c_str());
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
    }

    // Where git goes through the trees, it takes "deb" before "deb-n" when one of them has come to it: the file there is the
    // rename, and not the one that is first by its path.
    void equalTargets_data()
    {
        QTest::addColumn<bool>("base");
        QTest::newRow("the other folder is new") << false;
        QTest::newRow("the base has both folders") << true;
    }
    void equalTargets()
    {
        QFETCH(bool, base);
        TempRepository repo(TempRepository::Bare);
        std::string text, keep;
        for (int i = 0; i < 30; ++i)
            text += "line " + std::to_string(i) + "\n", keep += "kept " + std::to_string(i) + "\n";
        Files files{{"deb/old", text}, {"deb/keep", keep}};
        if (base)
            files["deb-n/keep"] = keep + "of deb-n\n";
        const std::string from = repo.commitFiles(files, "Base");
        const std::string both =
            repo.commitFiles({{"deb/old", std::nullopt}, {"deb/new", text}, {"deb-n/new", text}}, "Both", {from});
        const std::string one = repo.commitFiles({{"deb/old", std::nullopt}, {"deb-n/new", text}}, "One", {from});
        const Comparison found = compareMerges(repo, {{from, both, one}, {from, one, both}});
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
        QCOMPARE(found.conflicts, base ? 0 : 2);
    }

    // Two sources are as like the target as each other: those with nothing in common decide which one git takes.
    void equalCandidates()
    {
        TempRepository repo(TempRepository::Bare);
        std::string common, large;
        for (int i = 0; i < 12; ++i)
            common += "common line " + std::to_string(i) + "\n";
        for (int i = 0; i < 500; ++i)
            large += "large " + std::to_string(i) + "\n";
        Files base, newBase, commit;
        for (const char* name : {"a0", "a1", "a2", "s3", "s4"}) {
            base[name] = (name[0] == 'a' ? large : common) + "of " + name + "\n";
            newBase[name] = std::nullopt;
            commit[name] = "first of " + std::string(name) + "\n" + *base[name];
        }
        newBase["target"] = common + "of target\n";
        const std::string from = repo.commitFiles(base, "Base");
        const Comparison found = compareMerges(
            repo, {{from, repo.commitFiles(newBase, "New base", {from}), repo.commitFiles(commit, "Commit", {from})}});
        QCOMPARE(found.conflicts, 1);
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
    }

    // The repositories of Debian's package libgit2-fixtures: every pair of branches that went apart.
    void fixtures_data()
    {
        QTest::addColumn<QString>("name");
        for (const char* name : {"merge-recursive", "merge-resolve", "cherrypick", "rebase", "merge-whitespace"})
            QTest::addRow("%s", name) << name;
    }

    void fixtures()
    {
        QFETCH(QString, name);
        const QString from = "/usr/share/doc/libgit2-fixtures/examples/" + name;
        QVERIFY2(QDir(from).exists(), "The package libgit2-fixtures is missing: run packaging/set-up");
        TempRepository repo(TempRepository::Bare);
        const GitRun copied = runProgram("sh", {"-c", "cp -rf \"$1\"/.gitted/. .", "sh", from}, repo.path());
        QCOMPARE(copied.exitCode, 0);
        repo.git({"config", "core.bare", "true"});
        QStringList tips = QString::fromStdString(repo.git({"for-each-ref", "--format=%(objectname)", "refs/heads"}))
                               .split('\n', Qt::SkipEmptyParts);
        tips.removeDuplicates();
        std::vector<MergeCase> cases;
        for (const QString& newBase : tips)
            for (const QString& commit : tips) {
                if ((newBase < commit) != bool((newBase[0].unicode() + commit[0].unicode()) % 2))
                    continue;
                const GitRun base = repo.tryGit({"merge-base", newBase, commit});
                // Each pair in one of its directions, and not where one contains the other.
                if (base.exitCode == 0 && base.out.trimmed() != newBase.toUtf8() &&
                    base.out.trimmed() != commit.toUtf8())
                    cases.push_back({base.out.trimmed().toStdString(), newBase.toStdString(), commit.toStdString()});
            }
        QVERIFY(!cases.empty());
        const Comparison found = compareMerges(repo, cases);
        for (const std::string& difference : found.differences)
            qWarning("%s", difference.c_str());
        QCOMPARE(found.differences.size(), std::size_t(0));
        QCOMPARE(std::size_t(found.clean + found.conflicts), cases.size());
    }
};

QTEST_GUILESS_MAIN(TestMergeTree)
#include "test_merge_tree.moc"

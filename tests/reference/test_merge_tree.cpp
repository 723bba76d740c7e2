// SPDX-License-Identifier: MIT
//
// core/merge against `git merge-tree --write-tree` (git 2.47), the reference: invented histories with fixed seeds.
// ESPALIER_MERGE_SEEDS=FIRST-LAST compares other seeds, 100 merges each, for longer runs by hand.
#include "tests/support/reference_merge.h"

#include <QtTest/QtTest>

using namespace espalier::test;

class TestMergeTree : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void randomMerges_data()
    {
        QTest::addColumn<int>("seed");
        int first = 1, last = 10;
        const QStringList wanted = qEnvironmentVariable("ESPALIER_MERGE_SEEDS").split('-');
        if (wanted.size() == 2)
            first = wanted[0].toInt(), last = wanted[1].toInt();
        for (int seed = first; seed <= last; ++seed)
            QTest::addRow("seed %d", seed) << seed;
    }

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
};

QTEST_GUILESS_MAIN(TestMergeTree)
#include "test_merge_tree.moc"

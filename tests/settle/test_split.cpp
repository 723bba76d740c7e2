// SPDX-License-Identifier: MIT
//
// Hunks that were split at a line: where the cut goes in each side, what the parts give together, what is kept of them.
#include "core/replay/dry_run.h"
#include "core/settle/carry.h"
#include "core/settle/compose.h"
#include "core/settle/remembered.h"
#include "core/settle/split.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <random>

using namespace espalier;
using namespace espalier::test;

namespace {

struct Scene {
    std::string ancestor, newBase, commit;
    TextMerge merge = mergeTexts(ancestor, newBase, commit);
    std::vector<HunkCut> cuts = {};

    TextMerge cut() const { return cutMerge(merge, ancestor, newBase, commit, cuts); }
    FileSettlement fresh(const TextMerge& of) const
    {
        FileSettlement made = undecidedText({}, segmentsOf(of, ancestor, newBase, commit));
        made.cuts = cuts;
        return made;
    }
    std::string with(const TextMerge& of, const FileSettlement& made) const
    {
        return compose(of, newBase, commit, made.pieces, Choice::Undecided).bytes;
    }
};

// One hunk between two lines that stay.
Scene scene()
{
    return {"top\none\ntwo\nthree\nfour\nend\n", "top\nONE\nTWO\nthree b\nfour b\nend\n",
            "top\none c\nnew c\nthree c\nFOUR\nend\n"};
}

} // namespace

class TestSplit : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void linesOfTheOtherSides_data()
    {
        QTest::addColumn<QByteArray>("texts"); // ancestor|new base|commit, a letter a line
        QTest::addColumn<int>("side");
        QTest::addColumn<int>("line");
        QTest::addColumn<QByteArray>("lines");
        const int newBase = int(Side::NewBase), commit = int(Side::Commit);
        QTest::newRow("a line of all three") << QByteArray("abcd|Abcd|xyabcD") << newBase << 2 << QByteArray("2 2 4");
        QTest::newRow("behind one that all have") << QByteArray("ab|aXY|aZ") << newBase << 1 << QByteArray("1 1 1");
        QTest::newRow("from the other side") << QByteArray("abcd|Abcd|xyabcD") << commit << 4 << QByteArray("2 2 4");
        QTest::newRow("none alike: in proportion")
            << QByteArray("abcd|efgh|ijkl") << newBase << 2 << QByteArray("2 2 2");
        QTest::newRow("a line that both added") << QByteArray("a|pqr|xxq") << newBase << 1 << QByteArray("0 1 2");
        QTest::newRow("by way of the ancestor") << QByteArray("abcd|aXcd|abYY") << newBase << 2 << QByteArray("2 2 2");
        QTest::newRow("a side without lines") << QByteArray("ab|cd|") << newBase << 1 << QByteArray("1 1 0");
    }
    void linesOfTheOtherSides()
    {
        QFETCH(QByteArray, texts);
        QFETCH(int, side);
        QFETCH(int, line);
        QFETCH(QByteArray, lines);
        std::vector<std::string> three;
        for (const QByteArray& text : texts.split('|')) {
            three.emplace_back();
            for (const char c : text)
                three.back() += std::string(1, c) + '\n';
        }
        Segment hunk;
        hunk.ancestor = three[0];
        hunk.newBase = three[1];
        hunk.commit = three[2];
        const HunkLines at = linesAt(hunk, Side(side), line);
        QCOMPARE(QByteArray::number(at.ancestor) + ' ' + QByteArray::number(at.newBase) + ' ' +
                     QByteArray::number(at.commit),
                 lines);
    }

    // Each part by itself; joined they are what was decided, and one hunk.
    void eachPartIsDecided()
    {
        Scene of = scene();
        const auto whole = segmentsOf(of.merge, of.ancestor, of.newBase, of.commit);
        QCOMPARE(whole.size(), 3u);
        auto split = withSplit(of.fresh(of.merge), whole, 0, {2, 2, 2});
        QVERIFY(split);
        QCOMPARE(split->hunkCount(), 2u);
        QCOMPARE(split->undecided(), 2u);
        of.cuts = split->cuts;
        const TextMerge cut = of.cut();
        QCOMPARE(cut.hunks.size(), 2u);
        QCOMPARE(split->pieces, of.fresh(cut).pieces);
        // The bytes are those that a merge with these two hunks has.
        QCOMPARE(cut.bytes, "top\n<<<<<<< new base\nONE\nTWO\n=======\none c\nnew c\n>>>>>>> your commit\n"
                            "<<<<<<< new base\nthree b\nfour b\n=======\nthree c\nFOUR\n>>>>>>> your commit\nend\n");
        const auto parts = segmentsOf(cut, of.ancestor, of.newBase, of.commit);
        split->decide(0, {Choice::NewBase, {}});
        QVERIFY(!split->decided());
        split->decide(1, {Choice::YourCommitFirst, {}});
        QVERIFY(split->decided());
        QCOMPARE(of.with(cut, *split), "top\nONE\nTWO\nthree c\nFOUR\nthree b\nfour b\nend\n");
        // A part of a part; the first cut stays where it is.
        const auto third = withSplit(*split, parts, 1, {1, 1, 1});
        QVERIFY(third);
        QCOMPARE(third->hunkCount(), 3u);
        QCOMPARE(third->cuts.size(), 2u);
        QCOMPARE(third->cuts[1].lines, (HunkLines{3, 3, 3}));
        QCOMPARE(third->undecided(), 2u); // both in an order say nothing of the parts
        const HunkDecision typed{Choice::Typed, "ONE\nTWO\nthree c\nFOUR\nthree b\nfour b\n"};
        QCOMPARE(wholeDecision(*split, parts, 1), typed);
        const auto joined = withJoined(*split, parts, 1);
        QVERIFY(joined);
        QVERIFY(joined->cuts.empty());
        QCOMPARE(joined->hunkCount(), 1u);
        QCOMPARE(joined->decision(0), typed);
        QCOMPARE(of.with(of.merge, *joined), of.with(cut, *split));
        split->decide(0, {});
        QCOMPARE(withJoined(*split, parts, 0)->decision(0), HunkDecision{});
    }

    void aSideThatWasKeptIsKept()
    {
        const Scene of = scene();
        FileSettlement made = of.fresh(of.merge);
        made.decide(0, {Choice::YourCommit, {}});
        const auto split = withSplit(made, segmentsOf(of.merge, of.ancestor, of.newBase, of.commit), 0, {1, 1, 1});
        QVERIFY(split && split->decided());
        Scene cut = of;
        cut.cuts = split->cuts;
        const auto parts = segmentsOf(cut.cut(), of.ancestor, of.newBase, of.commit);
        QCOMPARE(withJoined(*split, parts, 0)->decision(0), (HunkDecision{Choice::YourCommit, {}}));
    }

    void noPartIsEmpty()
    {
        const Scene of = scene();
        const auto whole = segmentsOf(of.merge, of.ancestor, of.newBase, of.commit);
        for (const HunkLines& at : {HunkLines{0, 0, 0}, {4, 4, 4}, {5, 1, 1}, {-1, 1, 1}})
            QVERIFY(!withSplit(of.fresh(of.merge), whole, 0, at));
        QVERIFY(!withSplit(of.fresh(of.merge), whole, 1, {1, 1, 1}));
        QVERIFY(!withJoined(of.fresh(of.merge), whole, 0));
        // A part may have lines on one side alone.
        QVERIFY(withSplit(of.fresh(of.merge), whole, 0, {0, 0, 1}));
    }

    // Cuts of hunks that are not there, or not so, are no cuts.
    void otherCutsMeanNothing()
    {
        Scene of = scene();
        const Oid texts = std::get<SettledHunk>(of.fresh(of.merge).pieces[1]).texts;
        const Oid other = *Oid::parse(std::string(40, '1'));
        for (const HunkCut& cut : {HunkCut{other, 0, {1, 1, 1}}, HunkCut{texts, 1, {1, 1, 1}},
                                   HunkCut{texts, 0, {9, 1, 1}}, HunkCut{texts, 0, {0, 0, 0}}}) {
            of.cuts = {cut};
            QCOMPARE(of.cut().bytes, of.merge.bytes);
            QCOMPARE(of.cut().hunks, of.merge.hunks);
        }
    }

    // Of hunks with the same texts only the one that was split is in parts.
    void theSameHunkTwice()
    {
        Scene of{"a\nb\n1\n2\n3\n4\n5\na\nb\n", "A\nB\n1\n2\n3\n4\n5\nA\nB\n", "x\ny\n1\n2\n3\n4\n5\nx\ny\n"};
        QCOMPARE(of.merge.hunks.size(), 2u);
        const auto split =
            withSplit(of.fresh(of.merge), segmentsOf(of.merge, of.ancestor, of.newBase, of.commit), 1, {1, 1, 1});
        QVERIFY(split);
        of.cuts = split->cuts;
        const TextMerge cut = of.cut();
        QCOMPARE(cut.hunks.size(), 3u);
        QCOMPARE(cut.hunks[0].parts, 1);
        QCOMPARE(cut.hunks[2].part, 1);
        QVERIFY(withJoined(*split, segmentsOf(cut, of.ancestor, of.newBase, of.commit), 2)->cuts.empty());
    }

    // Wherever it is cut: each side kept in all parts is that side kept, and what is held of the new base goes where it went.
    void anyCutGivesTheSame()
    {
        std::mt19937 random(20261130);
        int cutScenes = 0;
        for (int round = 0; round < 400; ++round) {
            const auto text = [&](int change) {
                std::string all;
                for (int i = 0; i < 14; ++i)
                    if (change == 0 || random() % 10 != 0)
                        all += (change > 0 && random() % 3 == 0 ? std::string(1, char('A' + random() % 6))
                                                                : std::to_string(i)) +
                               (i == 13 && random() % 3 == 0 ? "" : "\n");
                return all;
            };
            Scene of{text(0), text(1), text(2)};
            if (of.merge.hunks.empty())
                continue;
            FileSettlement made = of.fresh(of.merge);
            for (int cut = 0; cut < 3; ++cut) {
                const auto segments = segmentsOf(of.cut(), of.ancestor, of.newBase, of.commit);
                const std::size_t hunk = random() % (segments.size() / 2);
                const Side side = random() % 2 ? Side::NewBase : Side::Commit;
                const auto next =
                    withSplit(made, segments, hunk, linesAt(segments[2 * hunk + 1], side, int(random() % 4)));
                if (!next)
                    continue;
                made = *next;
                of.cuts = made.cuts;
                ++cutScenes;
            }
            const TextMerge cut = of.cut();
            QCOMPARE(cut.hunks.size(), made.hunkCount());
            QCOMPARE(countLines(cut.bytes), cut.pieces.back().result.end());
            const std::vector<LineRange> held{{2, 3}, {7, 0}, {9, 2}};
            for (const Choice choice : {Choice::NewBase, Choice::YourCommit}) {
                const Composed parts = compose(cut, of.newBase, of.commit, {}, choice, held);
                const Composed whole = compose(of.merge, of.newBase, of.commit, {}, choice, held);
                QCOMPARE(parts.bytes, whole.bytes);
                QCOMPARE(parts.open.size(), made.hunkCount());
                QCOMPARE(parts.held.size(), held.size());
            }
            const FileSettlement holds =
                stillHolding(&made, of.fresh(cut), segmentsOf(cut, of.ancestor, of.newBase, of.commit));
            QCOMPARE(holds, made);
        }
        QVERIFY(cutScenes > 200);
    }

    // Kept, and met again by the dry run; where its texts become others the hunk is whole and undecided, and nothing else is.
    void isKept()
    {
        TempRepository repo;
        const std::string more = "1\n2\n3\n4\n", far = "far\n";
        const Scene of = scene();
        const auto base = repo.commitFiles({{"f", of.ancestor + more + far}}, "Base", {}, "main");
        const auto main = repo.commitFiles({{"f", of.newBase + more + "FAR\n"}}, "Upstream", {base}, "main");
        repo.commitFiles({{"f", of.commit + more + "fern\n"}}, "Mine", {base}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun undecidedRun = runOf(opened, plan);
        QCOMPARE(undecidedRun.commits[0].conflicts[0].hunks, 2u);
        const Conflict& conflict = undecidedRun.commits[0].conflicts[0];
        ObjectStore store(opened);
        const auto texts = conflictTexts(store, conflict.path);
        QVERIFY(texts);
        const auto segments = segmentsOf(*texts->merge, *texts->ancestor, *texts->newBase, *texts->commit);
        const ThreeBlobs blobs{conflict.path.ancestor.id, conflict.path.newBase.id, conflict.path.commit.id};
        auto made = withSplit(undecidedText(blobs, segments), segments, 0, {2, 2, 2});
        QVERIFY(made);
        made->decide(1, {Choice::YourCommit, {}});
        made->decide(2, {Choice::NewBase, {}});
        const SettlementKey key = conflict.key(undecidedRun.commits[0].id);
        const ReplayKey replay{plan.branch, plan.tip, plan.onto};
        QVERIFY(saveOpenSettlements(opened, replay, Settlements().with(key, *made)));
        Settlements kept = loadOpenSettlements(opened, replay);
        QVERIFY(kept.find(key));
        QCOMPARE(*kept.find(key), *made);
        const DryRun half = runOf(opened, plan, kept);
        QCOMPARE(half.commits[0].conflicts[0].hunks, 3u);
        QCOMPARE(half.commits[0].conflicts[0].undecided, 1u);
        QCOMPARE(half.commits[0].conflicts[0].again, 0u);
        QVERIFY(!half.clean);
        made->decide(0, {Choice::Typed, "typed\n"});
        const DryRun all = runOf(opened, plan, kept.with(key, *made));
        QVERIFY(all.clean);
        QCOMPARE(all.commits[0].conflicts[0].settled,
                 hashObject(ObjectType::Blob, "top\ntyped\nthree c\nFOUR\nend\n" + more + "FAR\n"));

        // Other texts meet in the first hunk.
        const auto moved =
            repo.commitFiles({{"f", "top\nONE!\nTWO\nthree b\nfour b\nend\n" + more + "FAR\n"}}, "On", {main}, "main");
        const DryRun other = runOf(opened, planOf(opened, "topic", moved), Settlements().with(key, *made));
        QCOMPARE(other.commits[0].conflicts[0].hunks, 2u);
        QCOMPARE(other.commits[0].conflicts[0].undecided, 1u);
    }

    void damagedCutsAreNotTaken()
    {
        const TempRepository repo;
        const Repository opened = repo.open();
        const Oid one = *Oid::parse(std::string(40, '1'));
        const ReplayKey replay{"refs/heads/topic", one, one};
        FileSettlement made{{one, one, one}, {SettledStretch{}, SettledHunk{one, {}}, SettledStretch{}}};
        made.cuts = {{one, 0, {1, 2, 3}}};
        QVERIFY(saveOpenSettlements(opened, replay, Settlements().with({one, "f"}, made)));
        QCOMPARE(*loadOpenSettlements(opened, replay).find({one, "f"}), made);
        const std::string path =
            ".git/espalier/settling/" + hashObject(ObjectType::Blob, replay.branch + '\n' + one.hex()).hex();
        const std::string good = repo.readFile(path);
        for (const auto& [from, to] :
             {std::pair("[1,2,3]", "[1,2]"), std::pair("[1,2,3]", "[1,-2,3]"), std::pair("[1,2,3]", "[1,\"2\",3]"),
              std::pair("[1,2,3]", "7"), std::pair("\"which\":0", "\"which\":-1")}) {
            std::string bad = good;
            const std::size_t at = bad.find(from);
            QVERIFY2(at != std::string::npos, good.c_str());
            bad.replace(at, std::string(from).size(), to);
            repo.writeFile(path, bad);
            QVERIFY2(loadOpenSettlements(opened, replay).empty(), to);
        }
    }
};

QTEST_GUILESS_MAIN(TestSplit)
#include "test_split.moc"

// SPDX-License-Identifier: MIT
//
// Decisions as values, the text that they give, and what is kept of them on disk.
#include "core/settle/compose.h"
#include "core/settle/remembered.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

// The pieces of a text, as far as something is decided.
std::vector<SettledPiece> pieces(const std::vector<HunkDecision>& decisions)
{
    std::vector<SettledPiece> all{SettledStretch{}};
    for (const HunkDecision& decision : decisions) {
        all.emplace_back(SettledHunk{{}, decision});
        all.emplace_back(SettledStretch{});
    }
    return all;
}

std::string composed(const std::string& ancestor, const std::string& newBase, const std::string& commit,
                     std::vector<HunkDecision> decisions)
{
    return compose(mergeTexts(ancestor, newBase, commit), newBase, commit, pieces(decisions), Choice::NewBase).bytes;
}

} // namespace

class TestSettlements : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void values()
    {
        const SettlementKey key{*Oid::parse(emptyBlobHex), "a/b"};
        FileSettlement file;
        QVERIFY(!file.decided() && !file.touched());
        file.pieces = pieces({{Choice::NewBase, {}}, {}});
        QCOMPARE(file.hunkCount(), 2u);
        QVERIFY(!file.decided() && file.touched());
        // An edit decides nothing; one that waits is a question more.
        std::get<SettledStretch>(file.pieces[4]).edit = StretchEdit{"a\n", "b\n"};
        QVERIFY(!file.decided());
        QCOMPARE(file.undecided(), 1u);
        file.decide(1, {Choice::Typed, {}});
        QVERIFY(file.decided());
        QCOMPARE(file.questions(), 2u);
        std::get<SettledStretch>(file.pieces[0]).waiting = WaitingEdit{{"c\n", "d\n"}};
        QVERIFY(!file.decided());
        QCOMPARE(file.questions(), 3u);
        QCOMPARE(file.undecided(), 1u);
        const Settlements none;
        const Settlements one = none.with(key, file);
        QVERIFY(none.empty());
        QVERIFY(!none.find(key));
        QCOMPARE(*one.find(key), file);
        QVERIFY(one.without(key).empty());
        QCOMPARE(*one.withDefault(Choice::YourCommit).defaultChoice(), Choice::YourCommit);
        QVERIFY(!one.withDefault(Choice::Typed).defaultChoice());
        for (const Choice choice :
             {Choice::NewBase, Choice::YourCommit, Choice::NewBaseFirst, Choice::YourCommitFirst, Choice::Typed})
            QCOMPARE(choiceFromName(choiceName(choice)), std::optional(choice));
        QVERIFY(!choiceFromName("mine"));
    }

    void choices()
    {
        const std::string ancestor = "a\nb\nc\n", newBase = "a\nN\nc\n", commit = "a\nY\nc\n";
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::NewBase, {}}}), newBase);
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::YourCommit, {}}}), commit);
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::NewBaseFirst, {}}}), std::string("a\nN\nY\nc\n"));
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::YourCommitFirst, {}}}), std::string("a\nY\nN\nc\n"));
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::Typed, "x\ny"}}), std::string("a\nx\ny\nc\n"));
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::Typed, ""}}), std::string("a\nc\n"));
        QCOMPARE(composed(ancestor, newBase, commit, {}), newBase); // undecided
    }

    void lineEnds()
    {
        // CR LF stays, and is what a side without its last line end gets where the other follows.
        const std::string ancestor = "a\r\nb", newBase = "a\r\nN", commit = "a\r\nY";
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::NewBaseFirst, {}}}), std::string("a\r\nN\r\nY"));
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::YourCommit, {}}}), commit);
        QCOMPARE(composed(ancestor, newBase, commit, {{Choice::Typed, "Z"}}), std::string("a\r\nZ"));
        QCOMPARE(hunkBytes("N", "Y", {Choice::NewBaseFirst, {}}), std::string("N\nY"));
        QCOMPARE(hunkBytes("", "Y", {Choice::NewBaseFirst, {}}), std::string("Y"));
        QCOMPARE(composed("a\r\nb\r\nc\r\n", "a\r\nN\r\nc\r\n", "a\r\nY\r\nc\r\n", {{Choice::Typed, "t"}}),
                 std::string("a\r\nt\r\nc\r\n"));
    }

    void severalHunksAndMarkers()
    {
        const std::string ancestor = "<<<<<<< x\n1\n2\n3\n4\n5\n6\n7\n=======\n8\n";
        const std::string newBase = "<<<<<<< x\nN\n2\n3\nn\n5\n6\n7\n=======\nN\n";
        const std::string commit = "<<<<<<< x\nY\n2\n3\n4\n5\n6\n7\n=======\nY\n";
        const TextMerge merge = mergeTexts(ancestor, newBase, commit);
        QCOMPARE(merge.hunks.size(), 2u);
        const Composed file = compose(merge, newBase, commit, pieces({{Choice::NewBaseFirst, {}}}), Choice::YourCommit);
        QCOMPARE(file.bytes, std::string("<<<<<<< x\nN\nY\n2\n3\nn\n5\n6\n7\n=======\nY\n"));
        QCOMPARE(file.open.size(), 1u);
        QCOMPARE(file.open[0].first, 10);
        QCOMPARE(file.open[0].count, 1);
    }

    void heldLinesAreFollowed()
    {
        const std::string ancestor = "a\nb\nc\nd\n", newBase = "0\na\nb\nc\nd\n", commit = "a\nb\nx\ny\nc\nd\n";
        const TextMerge merge = mergeTexts(ancestor, newBase, commit);
        const std::vector<LineRange> held{{1, 1}, {4, 1}};
        const Composed file = compose(merge, newBase, commit, {}, Choice::YourCommit, held);
        QCOMPARE(file.bytes, std::string("0\na\nb\nx\ny\nc\nd\n"));
        QCOMPARE(file.held, (std::vector<LineRange>{{1, 1}, {6, 1}}));
    }

    // A range that an earlier commit holds goes along with the lines that are typed around it.
    void heldLinesAreFollowedThroughEdits()
    {
        const std::string ancestor = "a\nb\nc\nd\ne\n", newBase = "a\nb\nc\nd\ne\n", commit = "a\nb\nc\nd\nE\n";
        const TextMerge merge = mergeTexts(ancestor, newBase, commit);
        const std::vector<SettledPiece> typed{SettledStretch{StretchEdit{merge.bytes, "0\n00\na\nb\nc\nd\nE\n"}}};
        const std::vector<LineRange> held{{1, 1}, {2, 2}};
        const Composed file = compose(merge, newBase, commit, typed, Choice::YourCommit, held);
        QCOMPARE(file.bytes, std::string("0\n00\na\nb\nc\nd\nE\n"));
        QCOMPARE(file.held, (std::vector<LineRange>{{3, 1}, {4, 2}}));
    }

    void equalLinesBesideChangesAreUnchanged()
    {
        // Changes of the new base (a deletion too), of the commit, and a conflict, with lines that nobody touched
        // between.
        const std::string ancestor = "1\n2\n3\n4\n5\n6\n7\n8\n9\n", newBase = "1\n3\n4\n5\nN\n7\n8\n9\n";
        const std::string commit = "1\n2\n3\n4\n5\nY\n7\n8\nC\n";
        using enum PieceOrigin;
        std::vector<PieceOrigin> origins;
        for (const TextPiece& piece : mergeTexts(ancestor, newBase, commit).pieces)
            origins.push_back(piece.origin);
        QCOMPARE(origins, (std::vector<PieceOrigin>{Unchanged, NewBase, Unchanged, Conflict, Unchanged, Commit}));
    }

    void keptOnDisk()
    {
        TempRepository repo;
        const std::string tip = repo.commitFiles({{"x", "1\n"}}, "Root", {}, "main");
        const Repository opened = repo.open();
        const ReplayKey plan{"refs/heads/topic", *Oid::parse(tip), *Oid::parse(tip)};
        QVERIFY(loadOpenSettlements(opened, plan).empty());
        FileSettlement file;
        file.blobs.newBase = *Oid::parse(emptyBlobHex);
        file.pieces = pieces({{Choice::Typed, std::string("a\0\xff\r\nb", 6)}, {}});
        const Settlements settlements = Settlements().with({plan.tip, "caf\xe9"}, file);
        QVERIFY(saveOpenSettlements(opened, plan, settlements));
        QVERIFY(loadOpenSettlements(opened, plan) == settlements);
        ReplayKey moved = plan;
        moved.tip = *Oid::parse(emptyTreeHex);
        QVERIFY(loadOpenSettlements(opened, moved).empty());
        ReplayKey elsewhere = plan;
        elsewhere.onto = *Oid::parse(emptyTreeHex);
        QVERIFY(loadOpenSettlements(opened, elsewhere).empty());
        std::get<SettledHunk>(file.pieces[1]).texts = *Oid::parse(emptyBlobHex);
        std::get<SettledStretch>(file.pieces[0]).edit = StretchEdit{"all\n", "\xe9ll\n"};
        std::get<SettledStretch>(file.pieces[2]).waiting = WaitingEdit{{"x\n", ""}};
        std::get<SettledStretch>(file.pieces[4]).waiting = WaitingEdit{{"", "y"}, true};
        const Settlements whole = settlements.with({plan.tip, "b"}, file);
        QVERIFY(saveOpenSettlements(opened, plan, whole));
        QVERIFY(loadOpenSettlements(opened, plan) == whole);
        const Settlements path = whole.with({plan.tip, "c"}, {{}, {SettledHunk{{}, {Choice::YourCommit, {}}}}});
        QVERIFY(saveOpenSettlements(opened, plan, path));
        QVERIFY(loadOpenSettlements(opened, plan) == path);
        QVERIFY(forgetOpenSettlements(opened, plan));
        QVERIFY(forgetOpenSettlements(opened, plan)); // twice is no error
        QVERIFY(loadOpenSettlements(opened, plan).empty());
    }
};

QTEST_GUILESS_MAIN(TestSettlements)
#include "test_settlements.moc"

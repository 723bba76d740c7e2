// SPDX-License-Identifier: MIT
//
// What folds into what, and which labels keep a commit its row: small histories, looked at row by row. What must hold for every
// folded picture is in test_lanes.
#include "core/lanes/landmarks.h"
#include "core/lanes/lanes.h"
#include "tests/support/synthetic_history.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestFolding : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void labelsThatKeepNothingFold();
    void whatKeepsItsRow();
    void focusFoldsTheRest();
    void whatOnlyTagsReachIsFolded();
};

namespace {

// A main line (rows 1, 3, 5, 6, 8, 10, 11) that has merged topic/landed (4); topic/mine (0, 2) stands on row 3, and
// topic/old (7, 9) on row 10, older than half a year.
SyntheticHistory landedLiveAndStale()
{
    SyntheticHistory shape;
    shape.parents = {{2}, {3, 4}, {3}, {5}, {5}, {6}, {8}, {9}, {10}, {10}, {11}, {}};
    shape.tips = {{1, Place::Upstream, "main"},
                  {0, Place::Clone, "topic/mine"},
                  {4, Place::Clone, "topic/landed"},
                  {7, Place::Clone, "topic/old"}};
    shape.secondsACommit = std::int64_t(86400) * 40;
    return shape;
}

std::vector<Row> shownRows(const Lanes& lanes)
{
    std::vector<Row> rows;
    for (std::size_t at = 0; at < lanes.rowCount(); ++at)
        rows.push_back(lanes.displayed(at).row);
    return rows;
}

} // namespace

void TestFolding::labelsThatKeepNothingFold()
{
    const SnapshotPtr snapshot = snapshotOf(landedLiveAndStale());
    LanesOptions options;
    options.fold = true;
    LanesPtr lanes = layOut(snapshot, options).value();
    QCOMPARE(shownRows(*lanes), (std::vector<Row>{0, 1, 2, 3, 5, 11}));
    // The landed branch is in its merge's row, the stale one in the run that holds the commit on which it stands.
    QCOMPARE(lanes->displayed(1).folded, 1u);
    QCOMPARE(lanes->displayed(1).labels, 1u);
    QCOMPARE(lanes->displayed(4).folded, 5u);
    QCOMPARE(lanes->displayed(4).labels, 1u);
    QCOMPARE(*lanes->displayRowOf(7), std::size_t(4));
    QVERIFY(lanes->beginsFold(4));
    QVERIFY(!lanes->beginsFold(0));
    // Opened one after another, the folds lead to it.
    options.opened = {5};
    lanes = layOut(snapshot, options).value();
    QCOMPARE(shownRows(*lanes), (std::vector<Row>{0, 1, 2, 3, 5, 6, 8, 10, 11}));
    QCOMPARE(lanes->displayed(7).folded, 2u);
    options.opened = {5, 10};
    lanes = layOut(snapshot, options).value();
    QCOMPARE(shownRows(*lanes), (std::vector<Row>{0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11}));
    options.opened = {1};
    QCOMPARE(layOut(snapshot, options).value()->displayed(3).row, Row(3));
    QVERIFY(layOut(snapshot, options).value()->displayed(4).row == Row(4));
    // A commit that is to be kept is, whatever its label.
    options.opened = {};
    options.keep = {7};
    QCOMPARE(shownRows(*layOut(snapshot, options).value()), (std::vector<Row>{0, 1, 2, 3, 5, 7, 9, 10, 11}));
}

void TestFolding::whatKeepsItsRow()
{
    const auto marksOf = [](const std::function<void(Snapshot&)>& change) {
        const auto snapshot = std::const_pointer_cast<Snapshot>(snapshotOf(landedLiveAndStale())); // nobody else has it
        change(*snapshot);
        return findLandmarks(*snapshot);
    };
    const auto ref = [](Snapshot& snapshot, const char* branch) -> Ref& {
        return *std::ranges::find(snapshot.refs, std::string(branch), &Ref::branch);
    };
    Landmarks marks = marksOf([](Snapshot&) {});
    QVERIFY(marks.keepsRow[0] && marks.keepsRow[1]);
    QVERIFY(!marks.keepsRow[4] && !marks.keepsLine[4] && !marks.keepsRow[7] && !marks.keepsLine[7]);
    QVERIFY(marks.onMain[10] && !marks.onMain[4] && marks.landed[4] && !marks.landed[0] && !marks.landed[9]);
    // Another's live branch keeps its line; the user's own copy of it keeps the row.
    marks = marksOf([&](Snapshot& snapshot) {
        Ref& mine = ref(snapshot, "topic/mine");
        mine.kind = RefKind::RemoteBranch;
        mine.place = Place::Upstream;
        mine.name = "refs/remotes/upstream/topic/mine";
    });
    QVERIFY(!marks.keepsRow[0] && marks.keepsLine[0]);
    // Only the fork has it: pushed from another clone.
    marks = marksOf([&](Snapshot& snapshot) {
        Ref& mine = ref(snapshot, "topic/mine");
        mine.kind = RefKind::RemoteBranch;
        mine.place = Place::Fork;
        mine.name = "refs/remotes/fork/topic/mine";
    });
    QVERIFY(marks.keepsRow[0]);
    // Checked out, here, detached or in another worktree.
    QVERIFY(marksOf([](Snapshot& snapshot) { snapshot.worktree.headBranch = "refs/heads/topic/old"; }).keepsRow[7]);
    QVERIFY(marksOf([](Snapshot& snapshot) { snapshot.worktree.headTip = snapshot.history.id(9); }).keepsRow[9]);
    QVERIFY(marksOf([](Snapshot& snapshot) {
                snapshot.worktree.checkedOutElsewhere["refs/heads/topic/landed"] = "/somewhere";
            }).keepsRow[4]);
    // The main line's copy, however far behind; a tag on the main line, not one beside it.
    QVERIFY(marksOf([&](Snapshot& snapshot) {
                Ref& copy = ref(snapshot, "topic/old");
                copy.branch = "main";
                copy.row = 10;
            }).keepsRow[10]);
    for (const Row row : {Row(6), Row(9)})
        QCOMPARE(bool(marksOf([&](Snapshot& snapshot) {
                          Ref& tag = ref(snapshot, "topic/old");
                          tag.kind = RefKind::Tag;
                          tag.place.reset();
                          tag.branch.clear();
                          tag.row = row;
                      }).keepsRow[row]),
                 row == 6);
}

void TestFolding::focusFoldsTheRest()
{
    const SnapshotPtr snapshot = snapshotOf(landedLiveAndStale());
    // On the stale branch: it and the base stay, what the main line went on with folds, landed branches too.
    const Focus focus = focusOn(*snapshot, 7);
    QCOMPARE(focus.own, (std::vector<Row>{1, 7, 9, 10}));
    QCOMPARE(focus.rows, (std::vector<Row>{1, 3, 4, 5, 6, 7, 8, 9, 10}));
    LanesOptions options;
    options.only = focus.rows;
    options.keep = focus.own;
    QCOMPARE(shownRows(*layOut(snapshot, options).value()), focus.rows);
    options.fold = true;
    const LanesPtr lanes = layOut(snapshot, options).value();
    QCOMPARE(shownRows(*lanes), (std::vector<Row>{1, 3, 7, 9, 10}));
    QCOMPARE(lanes->displayed(0).folded, 1u);
    QCOMPARE(lanes->displayed(1).folded, 3u);
    QVERIFY(!lanes->displayRowOf(0).has_value());
}

void TestFolding::whatOnlyTagsReachIsFolded()
{
    SyntheticHistory shape = landedLiveAndStale();
    // Beside what stands on row 10, two commits that stand on nothing.
    shape.parents.push_back({13});
    shape.parents.push_back({});
    shape.tips.push_back({12, Place::Clone, "elsewhere"});
    const auto tagged = [&](const std::function<void(Snapshot&)>& change = {}) {
        const auto snapshot = std::const_pointer_cast<Snapshot>(snapshotOf(shape)); // nobody else has it
        for (Ref& ref : snapshot->refs)
            if (ref.branch == "topic/old" || ref.branch == "elsewhere") {
                ref.kind = RefKind::Tag;
                ref.place.reset();
                ref.branch.clear();
            }
        if (change)
            change(*snapshot);
        return snapshot;
    };
    LanesOptions options;
    options.foldTagged = true;
    const LanesPtr lanes = layOut(tagged(), options).value();
    QCOMPARE(shownRows(*lanes), (std::vector<Row>{0, 1, 2, 3, 4, 5, 6, 8, 10, 11, 12}));
    QCOMPARE(lanes->displayed(8).folded, 2u);
    QCOMPARE(lanes->displayed(8).labels, 1u);
    QVERIFY(lanes->beginsFold(8));
    QCOMPARE(*lanes->displayRowOf(9), std::size_t(8));
    QCOMPARE(lanes->displayed(10).folded, 1u);
    QCOMPARE(*lanes->displayRowOf(13), std::size_t(10));
    // Beside the user's work there is nothing left of it.
    QCOMPARE(lanes->widths()[std::size_t(Place::Clone)], std::uint16_t(1));
    options.opened = {10};
    QCOMPARE(shownRows(*layOut(tagged(), options).value()),
             (std::vector<Row>{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}));
    options.opened = {12};
    QCOMPARE(shownRows(*layOut(tagged(), options).value()), (std::vector<Row>{0, 1, 2, 3, 4, 5, 6, 8, 10, 11, 12, 13}));
    options.opened = {};
    // What is checked out is somebody's, and what another ref than a tag reaches.
    const auto detached = tagged([](Snapshot& snapshot) { snapshot.worktree.headTip = snapshot.history.id(9); });
    QCOMPARE(shownRows(*layOut(detached, options).value()), (std::vector<Row>{0, 1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12}));
    const auto noted = tagged([](Snapshot& snapshot) {
        Ref note = snapshot.refs.front();
        note.kind = RefKind::Other;
        note.row = 7;
        snapshot.refs.push_back(note);
    });
    QCOMPARE(layOut(noted, options).value()->rowCount(), std::size_t(13));
    // Without a branch the tags are what there is.
    const auto onlyTags = tagged([](Snapshot& snapshot) {
        for (Ref& ref : snapshot.refs)
            ref.kind = RefKind::Tag;
    });
    QCOMPARE(layOut(onlyTags, options).value()->rowCount(), std::size_t(14));
    // And without a tag nothing is folded, nor where somebody asks for single commits.
    QCOMPARE(layOut(snapshotOf(shape), options).value()->rowCount(), std::size_t(14));
    options.only = {9, 10};
    QCOMPARE(shownRows(*layOut(tagged(), options).value()), (std::vector<Row>{9, 10}));
}

QTEST_GUILESS_MAIN(TestFolding)
#include "test_folding.moc"

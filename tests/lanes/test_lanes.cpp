// SPDX-License-Identifier: MIT
//
// What must hold for every picture, on random histories of many shapes; and on a real one when ESPALIER_SHAPE_REPOSITORY names
// a repository (see tests/bench/build-shape).
#include "core/lanes/landmarks.h"
#include "core/lanes/lanes.h"
#include "tests/support/synthetic_history.h"

#include <QtTest>

#include <map>
#include <set>

using namespace espalier;
using namespace espalier::test;

class TestLanes : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void noTwoLinesShareALane_data() { seeds(); }
    void noTwoLinesShareALane();
    void everyLineJoinsItsParent_data() { seeds(); }
    void everyLineJoinsItsParent();
    void bandsFollowThePlaces_data() { seeds(); }
    void bandsFollowThePlaces();
    void mainLineIsStraight_data() { seeds(); }
    void mainLineIsStraight();
    void commitsOnTopMoveNothingBelow_data() { seeds(); }
    void commitsOnTopMoveNothingBelow();
    void foldsHoldEveryCommitOnce_data() { seeds(); }
    void foldsHoldEveryCommitOnce();
    void foldedFocusHoldsWhatWasAsked_data() { seeds(); }
    void foldedFocusHoldsWhatWasAsked();
    void sideBranchIsNotTheMainLine();
    void onlyShowsWhatWasAsked();
    void openedFoldsAreShown();
    void manyBranchesStayNarrow();
    void fewBranchesHaveNoStubs();
    void emptyHistory();

  private:
    static void seeds();
    // The plain picture, the folded one, and one focused on a branch in the middle, folded.
    static std::vector<LanesPtr> pictures(const SnapshotPtr& snapshot);
};

namespace {

using Key = std::tuple<std::uint32_t, std::uint32_t, bool>; // child, parent, second
std::pair<int, int> at(LanePosition p) { return {int(p.band), int(p.lane)}; }

// A repository's topology and branches; what no place has counts as the clone's.
SyntheticHistory shapeOfRepository(const QByteArray& path)
{
    const auto repository = Repository::open(path.toStdString());
    if (!repository)
        qFatal("%s", repository.error().line().c_str());
    const SnapshotPtr snapshot = takeSnapshot(*repository).value();
    SyntheticHistory shape;
    for (Row row = 0; row < snapshot->history.size(); ++row) {
        const auto parents = snapshot->history.parents(row);
        shape.parents.emplace_back(parents.begin(), parents.end());
    }
    const auto add = [&](const Ref& ref) {
        shape.tips.push_back({ref.row, ref.place.value_or(Place::Clone), ref.name});
    };
    add(*snapshot->mainLineRef());
    for (const Ref& ref : snapshot->refs)
        if (&ref != snapshot->mainLineRef())
            add(ref);
    return shape;
}

SyntheticHistory shapeFor(unsigned seed, int commits)
{
    if (seed == 0)
        return shapeOfRepository(qgetenv("ESPALIER_SHAPE_REPOSITORY"));
    SyntheticHistory shape = randomShape(seed, std::size_t(commits));
    // In every other one most branches are stale.
    if (seed % 2 == 0)
        shape.secondsACommit = std::int64_t(86400) * 1200 / commits;
    return shape;
}

} // namespace

void TestLanes::seeds()
{
    QTest::addColumn<unsigned>("seed");
    QTest::addColumn<int>("commits");
    for (unsigned seed = 1; seed <= 24; ++seed)
        QTest::addRow("%u", seed) << seed << (seed % 6 == 0 ? 3000 : 300);
    if (!qgetenv("ESPALIER_SHAPE_REPOSITORY").isEmpty())
        QTest::newRow("repository") << 0u << 0;
}

std::vector<LanesPtr> TestLanes::pictures(const SnapshotPtr& snapshot)
{
    LanesOptions fold;
    fold.fold = true;
    LanesOptions part = fold;
    Focus focus = focusOn(*snapshot, snapshot->refs[snapshot->refs.size() / 2].row);
    part.only = std::move(focus.rows);
    part.keep = std::move(focus.own);
    std::vector<LanesPtr> made{layOut(snapshot).value(), layOut(snapshot, fold).value(),
                               layOut(snapshot, part).value()};
    // And as if half of the branches were tags, with what only they reach folded. Nobody else has the snapshot.
    std::vector<Ref>& refs = std::const_pointer_cast<Snapshot>(snapshot)->refs;
    const std::vector<Ref> before = refs;
    for (std::size_t at = 0; at < refs.size(); at += 2)
        if (int(at) != snapshot->mainLine)
            refs[at].kind = RefKind::Tag;
    LanesOptions tags;
    tags.foldTagged = true;
    made.push_back(layOut(snapshot, tags).value());
    refs = before;
    return made;
}

void TestLanes::noTwoLinesShareALane()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    for (const LanesPtr& lanes : pictures(snapshotOf(shapeFor(seed, commits))))
        for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
            // A lane holds at most one line at the top edge of a row and at the bottom edge, and none passes the node.
            std::set<std::pair<int, int>> top, bottom;
            for (const LaneEdge& edge : lanes->edges(row)) {
                if (edge.part == LaneEdge::Through || edge.part == LaneEdge::Into)
                    QVERIFY(top.insert(at(edge.from)).second);
                if (edge.part == LaneEdge::Through || edge.part == LaneEdge::OutOf)
                    QVERIFY(bottom.insert(at(edge.to)).second);
                if (edge.part == LaneEdge::Through)
                    QVERIFY(at(edge.from) != at(lanes->position(row)));
            }
        }
}

void TestLanes::everyLineJoinsItsParent()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SnapshotPtr snapshot = snapshotOf(shapeFor(seed, commits));
    for (const LanesPtr& lanes : pictures(snapshot)) {
        const bool plain = lanes->rowCount() == snapshot->history.size();
        std::map<Key, std::pair<int, int>> open; // the lane each line is in at the bottom of the row before
        for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
            std::map<Key, std::pair<int, int>> next;
            std::multiset<Row> parents;
            for (const LaneEdge& edge : lanes->edges(row)) {
                const Key key{edge.child, edge.parent, edge.secondParent};
                QVERIFY(edge.parent > edge.child);
                if (edge.part == LaneEdge::Through || edge.part == LaneEdge::Into) {
                    QVERIFY(open.contains(key));
                    QCOMPARE(open[key], at(edge.from));
                    open.erase(key);
                }
                if (edge.part == LaneEdge::Into) {
                    QCOMPARE(std::size_t(edge.parent), row);
                    QCOMPARE(at(edge.to), at(lanes->position(row)));
                } else if (edge.part == LaneEdge::Through) {
                    QVERIFY(edge.parent > row);
                    next[key] = at(edge.to);
                } else {
                    QCOMPARE(std::size_t(edge.child), row);
                    QCOMPARE(at(edge.from), at(lanes->position(row)));
                    parents.insert(lanes->displayed(edge.parent).row);
                    if (edge.part == LaneEdge::OutOf)
                        next[key] = at(edge.to);
                }
            }
            QVERIFY(open.empty()); // every line that left the row above came in here
            open = std::move(next);
            if (plain) {
                const auto real = snapshot->history.parents(Row(row));
                QVERIFY(parents == std::multiset<Row>(real.begin(), real.end()));
            }
        }
        QVERIFY(open.empty());
    }
}

void TestLanes::bandsFollowThePlaces()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SnapshotPtr snapshot = snapshotOf(shapeFor(seed, commits));
    for (const LanesPtr& lanes : pictures(snapshot))
        for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
            const Places places = snapshot->placesOf(lanes->displayed(row).row);
            const LanePosition position = lanes->position(row);
            QVERIFY(places & placeBit(position.band));
            for (int publicer = 0; publicer < int(position.band); ++publicer)
                QVERIFY(!(places & placeBit(Place(publicer))));
            QVERIFY(position.lane < lanes->widths()[std::size_t(position.band)]);
            const auto near = lanes->widths(row, row);
            QVERIFY(position.lane < near[std::size_t(position.band)]);
            for (const LaneEdge& edge : lanes->edges(row)) {
                QVERIFY(edge.from.lane < near[std::size_t(edge.from.band)]);
                QVERIFY(edge.to.lane < near[std::size_t(edge.to.band)]);
            }
        }
}

void TestLanes::mainLineIsStraight()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SnapshotPtr snapshot = snapshotOf(shapeFor(seed, commits));
    std::set<Row> main;
    for (Row row = snapshot->mainLineRef()->row; row != noRow;) {
        main.insert(row);
        const auto parents = snapshot->history.parents(row);
        row = parents.empty() ? noRow : parents[0];
    }
    const std::pair<int, int> first{int(Place::Upstream), 0};
    for (const LanesPtr& lanes : pictures(snapshot))
        for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
            const bool onMain = main.contains(lanes->displayed(row).row);
            QCOMPARE(at(lanes->position(row)) == first, onMain);
            for (const LaneEdge& edge : lanes->edges(row))
                if (edge.part == LaneEdge::Through && at(edge.from) == first)
                    QVERIFY(main.contains(lanes->displayed(edge.child).row) && !edge.secondParent);
        }
}

void TestLanes::commitsOnTopMoveNothingBelow()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SyntheticHistory before = shapeFor(seed, commits);
    // New commits on the main line and on topics, one of them a merge; the places of the old ones stay.
    SyntheticHistory after = before;
    const Row added = 5;
    for (auto& parents : after.parents)
        for (Row& parent : parents)
            parent += added;
    for (auto& tip : after.tips)
        tip.row += added;
    std::vector<std::vector<Row>> top(added);
    for (Row row = added; row-- > 0;) {
        auto& tip = after.tips[row % 2 == 0 ? 0 : (row * 7) % after.tips.size()];
        top[row] = {tip.row};
        tip.row = row;
    }
    after.parents.insert(after.parents.begin(), top.begin(), top.end());
    const SnapshotPtr old = snapshotOf(before), fresh = snapshotOf(after);
    const LanesPtr oldLanes = layOut(old).value(), freshLanes = layOut(fresh).value();
    // About a screenful at the old top may be arranged anew (lanes.h).
    constexpr Row fold = 64;
    for (Row row = fold; row < old->history.size(); ++row) {
        QCOMPARE(old->placesOf(row), fresh->placesOf(row + added));
        QCOMPARE(at(freshLanes->position(row + added)), at(oldLanes->position(row)));
    }
    for (Row row = fold; row < old->history.size(); ++row) {
        std::map<Key, std::pair<int, int>> lines;
        for (const LaneEdge& edge : freshLanes->edges(row + added))
            lines[{edge.child, edge.parent, edge.secondParent}] = at(edge.colour);
        for (const LaneEdge& edge : oldLanes->edges(row))
            if (edge.child >= fold)
                QCOMPARE((lines[{edge.child + added, edge.parent + added, edge.secondParent}]), at(edge.colour));
    }
}

void TestLanes::foldsHoldEveryCommitOnce()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SnapshotPtr snapshot = snapshotOf(shapeFor(seed, commits));
    LanesOptions options;
    options.fold = true;
    const LanesPtr lanes = layOut(snapshot, options).value();
    QVERIFY(lanes->rowCount() < snapshot->history.size());
    std::vector<std::size_t> held(lanes->rowCount(), 0);
    for (Row row = 0; row < snapshot->history.size(); ++row) {
        const auto display = lanes->displayRowOf(row);
        QVERIFY(display.has_value());
        ++held[*display];
    }
    for (std::size_t row = 0; row < lanes->rowCount(); ++row)
        QCOMPARE(held[row], std::size_t(lanes->displayed(row).folded) + 1);
    // What must stay stands in its own row, and every label is either there to be read or counted.
    const Landmarks marks = findLandmarks(*snapshot);
    std::vector<std::size_t> labels(lanes->rowCount(), 0);
    for (const Ref& ref : snapshot->refs) {
        const auto display = *lanes->displayRowOf(ref.row);
        if (lanes->displayed(display).row != ref.row) {
            QVERIFY2(!marks.keepsRow[ref.row], ref.name.c_str());
            ++labels[display];
        }
    }
    for (std::size_t row = 0; row < lanes->rowCount(); ++row)
        QCOMPARE(labels[row], std::size_t(lanes->displayed(row).labels));
    // Every parent is in the same row or in one that a line leads to.
    std::set<std::pair<std::uint32_t, std::uint32_t>> lines;
    for (std::size_t row = 0; row < lanes->rowCount(); ++row)
        for (const LaneEdge& edge : lanes->edges(row))
            lines.emplace(edge.child, edge.parent);
    for (Row row = 0; row < snapshot->history.size(); ++row)
        for (Row parent : snapshot->history.parents(row)) {
            const auto child = *lanes->displayRowOf(row), target = *lanes->displayRowOf(parent);
            // What a folded side branch stands on has no line; it is marked as something that one begins at.
            if (child == target)
                continue;
            if (lanes->displayed(child).row == row && lanes->displayed(child).folded == 0)
                QVERIFY(lines.contains({std::uint32_t(child), std::uint32_t(target)}));
            else
                QVERIFY(lines.contains({std::uint32_t(child), std::uint32_t(target)}) || lanes->beginsFold(target));
        }
}

void TestLanes::foldedFocusHoldsWhatWasAsked()
{
    QFETCH(unsigned, seed);
    QFETCH(int, commits);
    const SnapshotPtr snapshot = snapshotOf(shapeFor(seed, commits));
    std::size_t folds = 0;
    for (std::size_t at = 0; at < snapshot->refs.size(); at += std::max<std::size_t>(snapshot->refs.size() / 6, 1)) {
        const Focus focus = focusOn(*snapshot, snapshot->refs[at].row);
        LanesOptions options;
        options.only = focus.rows;
        options.keep = focus.own;
        options.fold = true;
        const LanesPtr lanes = layOut(snapshot, options).value();
        std::vector<std::size_t> held(lanes->rowCount(), 0);
        for (Row row = 0; row < snapshot->history.size(); ++row) {
            const auto display = lanes->displayRowOf(row);
            QCOMPARE(display.has_value(), std::ranges::binary_search(focus.rows, row));
            if (display)
                ++held[*display];
        }
        for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
            QCOMPARE(held[row], std::size_t(lanes->displayed(row).folded) + 1);
            folds += lanes->displayed(row).folded > 0;
        }
        for (const Row own : focus.own)
            QCOMPARE(lanes->displayed(*lanes->displayRowOf(own)).row, own);
    }
    QVERIFY(folds > 0);
}

// The topic (0) stands on a side branch (2) that the main line (1, 3) has merged; what the main line stood on is not shown.
void TestLanes::sideBranchIsNotTheMainLine()
{
    SyntheticHistory shape;
    shape.parents = {{2}, {3, 2}, {3}, {}};
    shape.tips = {{1, Place::Upstream, "main"}, {0, Place::Clone, "topic"}};
    const SnapshotPtr snapshot = snapshotOf(shape);
    LanesOptions options;
    options.only = focusOn(*snapshot, 0).rows;
    QCOMPARE(options.only, (std::vector<Row>{0, 1, 2}));
    const LanesPtr lanes = layOut(snapshot, options).value();
    QVERIFY(at(lanes->position(1)) == std::pair(int(Place::Upstream), 0));
    QVERIFY(at(lanes->position(2)) != std::pair(int(Place::Upstream), 0));
}

void TestLanes::onlyShowsWhatWasAsked()
{
    const SnapshotPtr snapshot = snapshotOf(randomShape(5, 400));
    LanesOptions options;
    for (Row row = 0; row < snapshot->history.size(); row += 3)
        options.only.push_back(row);
    const LanesPtr lanes = layOut(snapshot, options).value();
    QCOMPARE(lanes->rowCount(), options.only.size());
    int broken = 0;
    for (std::size_t row = 0; row < lanes->rowCount(); ++row) {
        QCOMPARE(lanes->displayed(row).row, options.only[row]);
        for (const LaneEdge& edge : lanes->edges(row))
            if (edge.part == LaneEdge::OutOf || edge.part == LaneEdge::Stub) {
                const Row child = lanes->displayed(edge.child).row, parent = lanes->displayed(edge.parent).row;
                QVERIFY(snapshot->history.isAncestor(parent, child));
                const auto direct = snapshot->history.parents(child);
                QCOMPARE(edge.skips, std::ranges::find(direct, parent) == direct.end());
                broken += edge.skips;
            }
    }
    QVERIFY(broken > 0);
    QVERIFY(!lanes->displayRowOf(1).has_value());
}

void TestLanes::openedFoldsAreShown()
{
    const SnapshotPtr snapshot = snapshotOf(randomShape(11, 500));
    LanesOptions options;
    options.fold = true;
    const LanesPtr closed = layOut(snapshot, options).value();
    std::size_t first = 0;
    while (closed->displayed(first).folded == 0)
        ++first;
    options.opened = {closed->displayed(first).row};
    const LanesPtr opened = layOut(snapshot, options).value();
    QVERIFY(opened->rowCount() > closed->rowCount());
}

void TestLanes::manyBranchesStayNarrow()
{
    // Two thousand topics that leave the main line far below where their commits stand.
    SyntheticHistory shape;
    constexpr Row topics = 2000, main = 4000;
    shape.parents.resize(topics + main);
    for (Row row = 0; row < main; ++row)
        if (row + 1 < main)
            shape.parents[topics + row] = {topics + row + 1};
    shape.tips.push_back({topics, Place::Upstream, "main"});
    for (Row row = 0; row < topics; ++row) {
        shape.parents[row] = {Row(topics + (row * 37) % main)};
        shape.tips.push_back({row, Place(row % 3), "topic/" + std::to_string(row)});
    }
    const LanesPtr lanes = layOut(snapshotOf(shape)).value();
    for (std::uint16_t width : lanes->widths())
        QVERIFY(width <= 21);
    QVERIFY(lanes->stubs() > 1000);
    QVERIFY(lanes->bytes() <= std::size_t(topics + main) * 20);
}

void TestLanes::fewBranchesHaveNoStubs()
{
    SyntheticHistory shape;
    constexpr Row topics = 5, main = 5000;
    shape.parents.resize(topics + main);
    for (Row row = 0; row + 1 < main; ++row)
        shape.parents[topics + row] = {topics + row + 1};
    shape.tips.push_back({topics, Place::Upstream, "main"});
    for (Row row = 0; row < topics; ++row) {
        shape.parents[row] = {Row(topics + 1000 * row + 900)};
        shape.tips.push_back({row, Place::Clone, "topic/" + std::to_string(row)});
    }
    const LanesPtr lanes = layOut(snapshotOf(shape)).value();
    QCOMPARE(lanes->stubs(), std::uint64_t(0));
    QCOMPARE(lanes->widths()[2], std::uint16_t(topics));
}

void TestLanes::emptyHistory()
{
    const auto snapshot = std::make_shared<Snapshot>();
    const LanesPtr lanes = layOut(snapshot).value();
    QCOMPARE(lanes->rowCount(), std::size_t(0));
    QVERIFY(lanes->edges(0).empty());
    QVERIFY(focusOn(*snapshot, 0).rows.empty());
}

QTEST_GUILESS_MAIN(TestLanes)
#include "test_lanes.moc"

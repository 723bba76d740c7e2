// SPDX-License-Identifier: MIT
//
// The gathered picture, counted against git's own counts on invented histories: `rev-list`, `merge-base` and `log` of the
// installed git are the reference.
#include "core/history/touching.h"
#include "core/lanes/gather.h"
#include "core/lanes/lanes.h"
#include "tests/support/synthetic_history.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <set>
#include <sstream>

using namespace espalier;
using namespace espalier::test;

namespace {

SnapshotPtr taken(const TempRepository& repo)
{
    auto snapshot = takeSnapshot(repo.open());
    if (!snapshot)
        qFatal("%s", snapshot.error().line().c_str());
    return *snapshot;
}

// A main line of merges and commits far ahead of a topic of `own` commits, with a release branch that main merges up and an older version
// of the topic in the fork. Every 50th commit of the main line touches the topic's file.
void build(const TempRepository& repo, int ahead, int own)
{
    BulkHistory bulk;
    const int root = bulk.commit("main", {}, {{"a/topic.txt", "0\n"}, {"b/other.txt", "0\n"}}, "Root");
    const int base = bulk.commit("main", {root}, {{"b/other.txt", "1\n"}}, "Base");
    int topic = base;
    for (int k = 0; k < own; ++k)
        topic = bulk.commit("topic", {topic}, {{"a/topic.txt", "topic " + std::to_string(k) + "\n"}}, "Topic");
    bulk.commit("old-topic", {base}, {{"a/topic.txt", "before\n"}}, "Topic, before");
    int main = base, release = base;
    for (int k = 0; k < ahead; ++k) {
        const std::string text = std::to_string(k) + "\n";
        if (k % 50 == 7)
            main = bulk.commit("main", {main}, {{"a/topic.txt", text}}, "Touches");
        else if (k % 7 == 3) {
            release = bulk.commit("release", {release}, {{"c/release.txt", text}}, "Release");
            main = bulk.commit("main", {main, release}, {{"c/release.txt", text}}, "Merge up");
        } else
            main = bulk.commit("main", {main}, {{"b/other.txt", text}}, "Main");
    }
    bulk.commit("release", {release}, {{"c/release.txt", "last\n"}}, "Release, not merged yet");
    bulk.import(repo);
    repo.git({"remote", "add", "upstream", "https://upstream.example/x.git"});
    repo.git({"remote", "add", "origin", "https://fork.example/x.git"});
    repo.git({"update-ref", "refs/remotes/upstream/main", "main"});
    repo.git({"update-ref", "refs/remotes/upstream/release", "release"});
    repo.git({"update-ref", "refs/remotes/origin/main", "main~20"});
    repo.git({"update-ref", "refs/remotes/origin/topic", "old-topic"});
    repo.git({"update-ref", "-d", "refs/heads/old-topic"});
    repo.git({"update-ref", "-d", "refs/heads/release"});
    repo.git({"update-ref", "refs/heads/main", "main~30"});
    repo.git({"symbolic-ref", "HEAD", "refs/heads/topic"});
}

std::set<std::string> idsOf(const std::string& lines)
{
    std::istringstream in(lines);
    std::set<std::string> ids;
    for (std::string line; std::getline(in, line);)
        ids.insert(line);
    return ids;
}

} // namespace

class TestGather : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void countsAreGits_data();
    void countsAreGits();
    void touchingIsGits();
    void gapsOpen();
    void anyHistory();
    void bases();
    void firstLook();
};

void TestGather::countsAreGits_data()
{
    QTest::addColumn<int>("ahead");
    QTest::addColumn<int>("own");
    QTest::addColumn<int>("room");
    QTest::newRow("short") << 60 << 2 << 24;
    QTest::newRow("far") << 2000 << 3 << 24;
    QTest::newRow("a long topic") << 900 << 120 << 20;
    QTest::newRow("little room") << 900 << 40 << 12;
}

void TestGather::countsAreGits()
{
    QFETCH(const int, ahead);
    QFETCH(const int, own);
    QFETCH(const int, room);
    TempRepository repo;
    build(repo, ahead, own);
    const SnapshotPtr snapshot = taken(repo);
    const Row tip = snapshot->findRef("refs/heads/topic")->row;
    const auto touching = findTouching(repo.open(), *snapshot, tip).value();
    LanesOptions options;
    options.gather = Gather{tip, touching.rows, std::size_t(room)};
    const LanesPtr lanes = layOut(snapshot, options).value();
    QVERIFY2(int(lanes->rowCount()) <= room, qPrintable(QString::number(lanes->rowCount())));
    const auto shows = [&](const QString& name) {
        const Row row = snapshot->history.find(*Oid::parse(repo.git({"rev-parse", name})));
        const auto at = lanes->displayRowOf(row);
        return at && lanes->displayed(*at).row == row;
    };
    QVERIFY(shows("topic"));
    QVERIFY(shows("upstream/main"));
    QVERIFY(shows("origin/topic"));
    QVERIFY(shows(QString::fromStdString(repo.git({"merge-base", "topic", "upstream/main"}))));
    // What every row says it holds, by which row shows each commit.
    std::map<std::size_t, std::set<std::string>> held;
    for (Row row = 0; row < snapshot->history.size(); ++row)
        if (const auto at = lanes->displayRowOf(row))
            held[*at].insert(snapshot->history.id(row).hex());
    std::size_t gaps = 0, touched = 0;
    for (std::size_t at = 0; at < lanes->rowCount(); ++at) {
        QCOMPARE(held[at].size(), std::size_t(lanes->displayed(at).folded) + 1);
        gaps += lanes->displayed(at).gap;
        touched += lanes->displayed(at).touching;
        QVERIFY(at + 1 == lanes->rowCount() || lanes->displayed(at).row < lanes->displayed(at + 1).row);
    }
    QVERIFY(gaps >= 1);
    QCOMPARE(touched, touching.rows.size());
    // Each of the commits that git counts stands in exactly one row.
    for (const char* range : {"topic..upstream/main", "upstream/main..topic"}) {
        std::set<std::string> inRows;
        const std::set<std::string> wanted = idsOf(repo.git({"rev-list", range}));
        for (const auto& [at, ids] : held)
            for (const std::string& id : ids)
                if (wanted.contains(id))
                    inRows.insert(id);
        QCOMPARE(inRows.size(), wanted.size());
    }
}

void TestGather::touchingIsGits()
{
    TempRepository repo;
    build(repo, 500, 2);
    const SnapshotPtr snapshot = taken(repo);
    const auto touching = findTouching(repo.open(), *snapshot, snapshot->findRef("refs/heads/topic")->row).value();
    QVERIFY(!touching.cutOff);
    std::set<std::string> found;
    for (const Row row : touching.rows)
        found.insert(snapshot->history.id(row).hex());
    QCOMPARE(found.size(), std::size_t(10));
    QVERIFY(std::ranges::is_sorted(touching.rows));
    QCOMPARE(found,
             idsOf(repo.git({"log", "--first-parent", "--format=%H", "topic..upstream/main", "--", "a/topic.txt"})));
}

void TestGather::gapsOpen()
{
    TempRepository repo;
    build(repo, 300, 2);
    const SnapshotPtr snapshot = taken(repo);
    LanesOptions options;
    options.gather = Gather{snapshot->findRef("refs/heads/topic")->row, {}, 24};
    const LanesPtr closed = layOut(snapshot, options).value();
    std::size_t gap = 0;
    while (!closed->displayed(gap).gap || closed->displayed(gap).folded < 100)
        QVERIFY(++gap < closed->rowCount());
    const Row row = closed->displayed(gap).row;
    options.opened = {row};
    const LanesPtr open = layOut(snapshot, options).value();
    QVERIFY(open->rowCount() > closed->rowCount() + 100);
    const auto at = open->displayRowOf(row);
    QVERIFY(at && !open->displayed(*at).gap);
    // Its commits along first parents have a row each.
    const Row next = snapshot->history.parents(row)[0];
    QCOMPARE(open->displayed(*open->displayRowOf(next)).row, next);
}

// Whatever the shape, each display row holds what it says, lines lead down, and the three that matter are there.
void TestGather::anyHistory()
{
    for (unsigned seed = 1; seed <= 60; ++seed) {
        const SnapshotPtr snapshot = snapshotOf(randomShape(seed, 300));
        for (const Ref& ref : snapshot->refs) {
            LanesOptions options;
            options.gather = Gather{ref.row, {}, 20};
            const LanesPtr lanes = layOut(snapshot, options).value();
            std::vector<std::size_t> held(lanes->rowCount(), 0);
            for (Row row = 0; row < snapshot->history.size(); ++row)
                if (const auto at = lanes->displayRowOf(row))
                    ++held[*at];
            for (std::size_t at = 0; at < lanes->rowCount(); ++at) {
                QCOMPARE(held[at], std::size_t(lanes->displayed(at).folded) + 1);
                for (const LaneEdge& edge : lanes->edges(at))
                    QVERIFY(edge.parent > edge.child);
            }
            for (const Row row : {ref.row, snapshot->mainLineRef()->row}) {
                const auto at = lanes->displayRowOf(row);
                QVERIFY(at && lanes->displayed(*at).row == row);
            }
            const auto bases = snapshot->history.mergeBases(ref.row, snapshot->mainLineRef()->row);
            if (!bases.empty())
                QCOMPARE(lanes->displayed(lanes->displayRowOf(bases[0]).value()).row, bases[0]);
        }
    }
}

void TestGather::bases()
{
    TempRepository repo;
    build(repo, 100, 2);
    const SnapshotPtr snapshot = taken(repo);
    std::vector<std::string> names;
    for (const int at : sensibleBases(*snapshot, snapshot->findRef("refs/heads/topic")->row, 20))
        names.push_back(snapshot->refs[std::size_t(at)].name);
    // Not the fork's older version of the topic itself.
    QCOMPARE(names, (std::vector<std::string>{"refs/remotes/upstream/main", "refs/heads/main",
                                              "refs/remotes/origin/main", "refs/remotes/upstream/release"}));
    QVERIFY(sensibleBases(*snapshot, noRow, 20).empty());
}

// All that is the user's and nothing else has a row; every commit of the main line is in one.
void TestGather::firstLook()
{
    TempRepository repo;
    build(repo, 2000, 3);
    repo.git({"tag", "v1", "upstream/main~500"});
    const SnapshotPtr snapshot = taken(repo);
    LanesOptions options;
    options.gather = Gather{};
    const LanesPtr lanes = layOut(snapshot, options).value();
    QVERIFY2(lanes->rowCount() < 16, qPrintable(QString::number(lanes->rowCount())));
    for (const char* name : {"topic", "origin/topic", "main", "origin/main", "upstream/main"}) {
        const Row row = snapshot->history.find(*Oid::parse(repo.git({"rev-parse", name})));
        const auto at = lanes->displayRowOf(row);
        QVERIFY2(at && lanes->displayed(*at).row == row, name);
    }
    std::size_t held = 0;
    for (std::size_t at = 0; at < lanes->rowCount(); ++at)
        if (snapshot->history.isAncestor(lanes->displayed(at).row, snapshot->mainLineRef()->row))
            held += lanes->displayed(at).folded + 1;
    QCOMPARE(QString::number(held), QString::fromStdString(repo.git({"rev-list", "--count", "upstream/main"})));
}

QTEST_GUILESS_MAIN(TestGather)
#include "test_gather.moc"

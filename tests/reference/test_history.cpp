// SPDX-License-Identifier: MIT
//
// The history table, places and drift against git's plumbing over random histories with merges and octopus merges:
// rev-list, merge-base, for-each-ref (--contains, ahead-behind), with every kind of commit-graph file that git writes,
// and with damaged ones.
#include "core/history/drift.h"
#include "core/history/snapshot.h"
#include "core/lanes/landmarks.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <fstream>
#include <map>
#include <random>
#include <set>

using namespace espalier;
using namespace espalier::test;

namespace {

std::vector<std::string> lines(const std::string& text)
{
    std::vector<std::string> list;
    for (const QByteArray& line : QByteArray::fromStdString(text).split('\n'))
        if (!line.isEmpty())
            list.push_back(line.toStdString());
    return list;
}

// Lanes that fork, go on, merge (two to five parents), with a root now and then.
void growRandomly(const TempRepository& repo, unsigned seed, int count)
{
    std::mt19937 random(seed);
    const auto pick = [&](int below) { return int(random() % unsigned(below)); };
    BulkHistory bulk;
    std::vector<int> tips(40, 0);
    for (int i = 1; i <= count; ++i) {
        const int lane = pick(12) < 4 ? 0 : pick(40);
        std::vector<int> parents;
        if (tips[std::size_t(lane)] != 0 && pick(40) != 0)
            parents.push_back(tips[std::size_t(lane)]);
        else if (i > 1 && pick(60) != 0)
            parents.push_back(1 + pick(i - 1));
        const int more = parents.empty() || pick(10) < 7 ? 0 : pick(12) == 0 ? 2 + pick(3) : 1;
        for (int k = 0; k < more; ++k) {
            const int other = pick(3) == 0 ? 1 + pick(i - 1) : tips[std::size_t(pick(40))];
            if (other != 0 && std::ranges::find(parents, other) == parents.end())
                parents.push_back(other);
        }
        tips[std::size_t(lane)] = bulk.commit(lane == 0 ? "main" : "topic/" + std::to_string(lane), parents, {},
                                              "Commit " + std::to_string(i));
    }
    bulk.import(repo);
    // The same names on two remotes, at older points; annotated tags, one of a tag; a tag of a tree.
    repo.git({"remote", "add", "upstream", "https://upstream.example/tidebook.git"});
    repo.git({"remote", "add", "origin", "https://fork.example/tidebook.git"});
    repo.git({"update-ref", "refs/remotes/upstream/main", "main~3"});
    repo.git({"symbolic-ref", "refs/remotes/upstream/HEAD", "refs/remotes/upstream/main"});
    for (const int lane : {1, 2, 3, 4, 5, 6, 7, 8, 9})
        repo.git({"update-ref", QString("refs/remotes/origin/topic/%1").arg(lane), QString("topic/%1^").arg(lane)});
    repo.git({"tag", "-a", "-m", "one", "v1", "main~5"});
    repo.git({"tag", "-a", "-m", "two", "v2", "v1"});
    repo.git({"tag", "tree", "main^{tree}"});
}

SnapshotPtr snapshotOf(const TempRepository& repo, const SnapshotPtr& previous = {})
{
    const Repository opened = repo.open();
    auto taken = takeSnapshot(opened, {}, previous);
    if (!taken)
        qFatal("%s", taken.error().line().c_str());
    return *taken;
}

std::vector<std::string> tableOf(const History& history)
{
    std::vector<std::string> rows;
    for (Row row = 0; row < history.size(); ++row) {
        std::string text = history.id(row).hex();
        for (const Row parent : history.parents(row))
            text += ' ' + history.id(parent).hex();
        rows.push_back(text);
    }
    return rows;
}

// Order: git rev-list --date-order (times are distinct); set and parents: --topo-order.
void compareTable(const TempRepository& repo, const SnapshotPtr& snapshot)
{
    const auto rows = tableOf(snapshot->history);
    QCOMPARE(rows, lines(repo.git({"rev-list", "--date-order", "--parents", "--all"})));
    const auto topo = lines(repo.git({"rev-list", "--topo-order", "--parents", "--all"}));
    QCOMPARE(std::multiset(rows.begin(), rows.end()), std::multiset(topo.begin(), topo.end()));
    for (Row row = 0; row < snapshot->history.size(); ++row) {
        QCOMPARE(snapshot->history.find(snapshot->history.id(row)), row);
        for (const Row parent : snapshot->history.parents(row))
            QVERIFY(parent > row);
    }
}

void compareDrift(const TempRepository& repo, const SnapshotPtr& snapshot, const std::string& mainLine)
{
    // git for-each-ref --format=%(ahead-behind:COMMIT), git 2.41 and newer.
    std::map<std::string, std::string> expected;
    for (const auto& line : lines(repo.git(
             {"for-each-ref", QString::fromStdString("--format=%(refname) %(ahead-behind:" + mainLine + ")")}))) {
        const std::size_t blank = line.find(' ');
        expected[line.substr(0, blank)] = line.substr(blank + 1);
    }
    std::vector<Row> tips;
    for (const Ref& ref : snapshot->refs)
        tips.push_back(ref.row);
    const Row main =
        snapshot->history.find(*Oid::parse(repo.git({"rev-parse", QString::fromStdString(mainLine + "^{commit}")})));
    const auto counts = driftOfAll(snapshot->history, main, tips);
    QVERIFY(counts.has_value());
    for (std::size_t i = 0; i < tips.size(); ++i) {
        const auto& count = (*counts)[i];
        QCOMPARE(std::to_string(count.ahead) + ' ' + std::to_string(count.behind), expected.at(snapshot->refs[i].name));
    }
}

// A file is read-only in git's object folder; a test that damages one must first be allowed to.
void rewriteFile(const std::filesystem::path& path, const std::function<void(std::string&)>& change)
{
    std::filesystem::permissions(path, std::filesystem::perms::owner_write, std::filesystem::perm_options::add);
    std::string bytes;
    {
        std::ifstream in(path, std::ios::binary);
        bytes.assign(std::istreambuf_iterator<char>(in), {});
    }
    change(bytes);
    std::ofstream(path, std::ios::binary | std::ios::trunc).write(bytes.data(), std::streamsize(bytes.size()));
}

} // namespace

class TestHistory : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void tableAgrees_data();
    void tableAgrees();
    void damagedCommitGraph_data();
    void damagedCommitGraph();
    void randomlyDamagedCommitGraph();
    void placesAgree();
    void driftAgrees();
    void driftByBitsAgrees();
    void mergeBasesAgree();
    void sharedTimesAndClockSkew();
    void shallow();
    void replacedAndGrafted();
    void reloadTakesOver();
    void newestRowsComeFirst_data();
    void newestRowsComeFirst();
    void missingTipAndParent();
};

void TestHistory::tableAgrees_data()
{
    QTest::addColumn<QStringList>("graph");
    QTest::addColumn<bool>("packed");
    QTest::newRow("loose objects") << QStringList() << false;
    QTest::newRow("pack with deltas") << QStringList() << true;
    QTest::newRow("single, generation 2")
        << QStringList{"-c", "commitGraph.generationVersion=2", "commit-graph", "write", "--reachable"} << true;
    QTest::newRow("single, generation 1")
        << QStringList{"-c", "commitGraph.generationVersion=1", "commit-graph", "write", "--reachable"} << false;
    QTest::newRow("chain") << QStringList{"commit-graph", "write", "--reachable", "--split=no-merge"} << false;
    QTest::newRow("chain, generation 1") << QStringList{"-c",           "commitGraph.generationVersion=1",
                                                        "commit-graph", "write",
                                                        "--reachable",  "--split=no-merge"}
                                         << true;
}

void TestHistory::tableAgrees()
{
    QFETCH(QStringList, graph);
    QFETCH(bool, packed);
    TempRepository repo;
    repo.git({"config", "fastimport.unpackLimit", packed ? "1" : "100000"});
    growRandomly(repo, 11, graph.isEmpty() && !packed ? 600 : 3000);
    if (packed) {
        repo.git({"repack", "-adfq", "--depth=20", "--window=20"});
        repo.git({"pack-refs", "--all"});
    }
    if (!graph.isEmpty())
        repo.git(graph);
    if (graph.contains("--split=no-merge")) {
        // A second layer, and on top of it commits that no layer has.
        const std::string main = repo.git({"rev-parse", "main"});
        const std::string upper = repo.commitFiles({}, "Upper", {main, repo.git({"rev-parse", "topic/7"})}, "main");
        repo.git(graph);
        QVERIFY(lines(repo.readFile(".git/objects/info/commit-graphs/commit-graph-chain")).size() >= 2);
        repo.commitFiles({}, "Not in the graph", {upper}, "topic/99");
    } else if (!graph.isEmpty()) {
        repo.commitFiles({}, "Not in the graph", {repo.git({"rev-parse", "topic/7"})}, "topic/99");
    }
    const auto snapshot = snapshotOf(repo);
    QVERIFY(snapshot->notices.empty());
    compareTable(repo, snapshot);
}

void TestHistory::damagedCommitGraph_data()
{
    QTest::addColumn<QString>("how");
    for (const char* how :
         {"empty", "header", "cut", "one bit", "trailer", "garbage", "chain layer missing", "chain line", "sum mended"})
        QTest::newRow(how) << how;
}

void TestHistory::damagedCommitGraph()
{
    QFETCH(QString, how);
    TempRepository repo;
    growRandomly(repo, 5, 1500);
    const bool chain = how.startsWith("chain");
    repo.git(chain ? QStringList{"commit-graph", "write", "--reachable", "--split"}
                   : QStringList{"commit-graph", "write", "--reachable"});
    // Before the file is damaged, so that the reference does not read it either.
    const auto expected = lines(repo.git({"rev-list", "--date-order", "--parents", "--all"}));
    const auto info = repo.fsPath() / ".git/objects/info";
    if (how == "chain layer missing") {
        for (const auto& entry : std::filesystem::directory_iterator(info / "commit-graphs"))
            if (entry.path().extension() == ".graph")
                std::filesystem::remove(entry.path());
    } else if (how == "chain line") {
        rewriteFile(info / "commit-graphs/commit-graph-chain", [](std::string& bytes) { bytes = "not an id\n"; });
    } else {
        rewriteFile(info / "commit-graph", [&](std::string& bytes) {
            if (how == "empty")
                bytes.clear();
            else if (how == "header")
                bytes[0] = 'X';
            else if (how == "cut")
                bytes.resize(bytes.size() * 2 / 3);
            else if (how == "one bit")
                bytes[bytes.size() / 2] ^= 4;
            else if (how == "trailer")
                bytes.back() ^= 1;
            else if (how == "garbage")
                std::ranges::fill(bytes.begin() + 8, bytes.end(), '\xA5');
            else {
                // A parent turned into another, the checksum made to fit: only the rise of the generations tells.
                const std::size_t data = bytes.find("CDAT");
                std::uint64_t at = 0;
                for (int i = 0; i < 8; ++i)
                    at = at << 8 | static_cast<unsigned char>(bytes[data + 4 + std::size_t(i)]);
                bytes[at + 36 * 7 + 20] = 0;
                bytes[at + 36 * 7 + 21] = 0;
                bytes[at + 36 * 7 + 22] = 0;
                bytes[at + 36 * 7 + 23] = 7; // its own parent
                bytes.resize(bytes.size() - 20);
                bytes +=
                    QByteArray::fromHex(
                        QCryptographicHash::hash(QByteArray::fromStdString(bytes), QCryptographicHash::Sha1).toHex())
                        .toStdString();
            }
        });
    }
    const auto snapshot = snapshotOf(repo);
    QCOMPARE(tableOf(snapshot->history), expected);
    QCOMPARE(snapshot->notices.size(), std::size_t(1));
    QVERIFY(QString::fromStdString(snapshot->notices[0]).contains("commit-graph"));
}

// Bytes turned and files cut at random, most of them where a commit's parents, generation and date stand: whatever it is,
// the file is not believed and the picture is git's.
void TestHistory::randomlyDamagedCommitGraph()
{
    TempRepository repo;
    growRandomly(repo, 8, 150);
    repo.git({"commit-graph", "write", "--reachable"});
    const auto expected = lines(repo.git({"rev-list", "--date-order", "--parents", "--all"}));
    const auto path = repo.fsPath() / ".git/objects/info/commit-graph";
    std::string whole;
    rewriteFile(path, [&](std::string& bytes) { whole = bytes; });
    const std::size_t table = whole.find("CDAT");
    const auto offset = [&](std::size_t at) {
        std::size_t value = 0;
        for (std::size_t i = 0; i < 8; ++i)
            value = value << 8 | static_cast<unsigned char>(whole[at + i]);
        return value;
    };
    const std::size_t data = offset(table + 4), dataEnd = offset(table + 16);
    for (unsigned seed = 0; seed < 250; ++seed) {
        std::mt19937 random(seed);
        rewriteFile(path, [&](std::string& bytes) {
            bytes = whole;
            for (unsigned turns = seed % 4 + 1; turns > 0; --turns) {
                const bool anywhere = seed % 3 == 0;
                const std::size_t at = anywhere ? random() % bytes.size() : data + random() % (dataEnd - data);
                bytes[at] = char(bytes[at] ^ (1 << random() % 8));
            }
            if (seed % 10 == 9)
                bytes.resize(random() % bytes.size());
            if (bytes == whole)
                bytes[data] ^= 1; // turned back again
        });
        const auto snapshot = snapshotOf(repo);
        QVERIFY2(tableOf(snapshot->history) == expected, qPrintable(QStringLiteral("seed %1").arg(seed)));
        QCOMPARE(snapshot->notices.size(), std::size_t(1));
        QVERIFY(QString::fromStdString(snapshot->notices[0]).contains("commit-graph"));
    }
    rewriteFile(path, [&](std::string& bytes) { bytes = whole; });
    QVERIFY(snapshotOf(repo)->notices.empty());
}

namespace {

// The places whose branches are among these names.
Places placesOfNames(const std::vector<std::string>& names)
{
    Places places = 0;
    for (const std::string& name : names) {
        if (name.starts_with("refs/heads/"))
            places |= placeBit(Place::Clone);
        else if (name.starts_with("refs/remotes/upstream/"))
            places |= placeBit(Place::Upstream);
        else if (name.starts_with("refs/remotes/origin/"))
            places |= placeBit(Place::Fork);
    }
    return places;
}

} // namespace

void TestHistory::placesAgree()
{
    TempRepository repo;
    growRandomly(repo, 21, 1200);
    const auto snapshot = snapshotOf(repo);
    QCOMPARE(snapshot->roles.upstream, "upstream");
    QCOMPARE(snapshot->roles.fork, "origin");
    QVERIFY(snapshot->mainLineRef());
    QCOMPARE(snapshot->mainLineRef()->name, "refs/remotes/upstream/main");
    std::mt19937 random(3);
    for (int sample = 0; sample < 40; ++sample) {
        const Row row = Row(random() % snapshot->history.size());
        // git for-each-ref --contains
        const auto names = lines(
            repo.git({"for-each-ref", "--format=%(refname)", "--contains", snapshot->history.id(row).hex().c_str()}));
        QCOMPARE(snapshot->placesOf(row), placesOfNames(names));
    }
}

void TestHistory::driftAgrees()
{
    for (const unsigned seed : {1u, 2u, 3u}) {
        TempRepository repo;
        growRandomly(repo, seed, 1500);
        repo.git({"tag", "-d", "tree"}); // for-each-ref has no ahead-behind for a tree
        repo.git({"commit-graph", "write", "--reachable"});
        const auto snapshot = snapshotOf(repo);
        for (const char* main : {"refs/remotes/upstream/main", "refs/heads/main", "refs/heads/topic/5", "refs/tags/v1"})
            compareDrift(repo, snapshot, main);
        // The merge base of a row is one of git's.
        const auto drift = computeDrift(snapshot, DriftScope::Branches);
        QVERIFY(drift.has_value());
        for (const BranchDrift& branch : drift->branches) {
            const auto bases = lines(repo.tryGit({"merge-base", "--all", "refs/remotes/upstream/main",
                                                  snapshot->refs[std::size_t(branch.ref)].name.c_str()})
                                         .out.toStdString());
            if (branch.mergeBase == noRow)
                QVERIFY(bases.empty());
            else
                QVERIFY(std::ranges::find(bases, snapshot->history.id(branch.mergeBase).hex()) != bases.end());
        }
    }
}

void TestHistory::driftByBitsAgrees()
{
    // Two lines that merge into each other all the time and a third of that kind: walks would be long, so most of the
    // merges must be counted by bits.
    TempRepository repo;
    BulkHistory bulk;
    int main = bulk.commit("main", {}, {}, "Root"), left = main, right = main;
    std::vector<std::string> branches;
    for (int i = 0; i < 1000; ++i) {
        const int oldLeft = left, oldRight = right;
        left = bulk.commit("tip/left" + std::to_string(i), {oldLeft, oldRight}, {}, "Left " + std::to_string(i));
        right = bulk.commit("tip/right" + std::to_string(i), {oldRight, oldLeft}, {}, "Right " + std::to_string(i));
        if (i % 100 == 0)
            main = bulk.commit("main", {main}, {}, "Main " + std::to_string(i));
    }
    bulk.import(repo);
    repo.git({"pack-refs", "--all"});
    repo.git({"commit-graph", "write", "--reachable"});
    compareDrift(repo, snapshotOf(repo), "refs/heads/main");
}

void TestHistory::mergeBasesAgree()
{
    TempRepository repo;
    growRandomly(repo, 31, 1500);
    repo.git({"commit-graph", "write", "--reachable"});
    const auto snapshot = snapshotOf(repo);
    const History& history = snapshot->history;
    std::mt19937 random(9);
    for (int sample = 0; sample < 50; ++sample) {
        const Row a = Row(random() % history.size()), b = Row(random() % history.size());
        const QString idA = history.id(a).hex().c_str(), idB = history.id(b).hex().c_str();
        std::set<std::string> found;
        for (const Row base : history.mergeBases(a, b))
            found.insert(history.id(base).hex());
        const auto expected = lines(repo.tryGit({"merge-base", "--all", idA, idB}).out.toStdString());
        QCOMPARE(found, std::set(expected.begin(), expected.end()));
        QCOMPARE(history.isAncestor(a, b), repo.tryGit({"merge-base", "--is-ancestor", idA, idB}).exitCode == 0);
        std::vector<std::string> only;
        for (const Row row : history.onlyIn(a, b))
            only.push_back(history.id(row).hex());
        QCOMPARE(only, lines(repo.git({"rev-list", "--date-order", idA, "^" + idB})));
    }
    const std::string id = history.id(7).hex();
    QCOMPARE(history.findPrefix(id.substr(0, 12), 5), std::vector<Row>{7});
    QCOMPARE(history.findPrefix("", 5).size(), std::size_t(5));
    QVERIFY(history.findPrefix("xyz", 5).empty());
}

void TestHistory::sharedTimesAndClockSkew()
{
    // Children older than their parents, and many commits of one second: still every child above its parents, and the
    // same order whether the commits came from a file or one by one.
    TempRepository repo;
    QByteArray stream;
    std::mt19937 random(77);
    for (int i = 1; i <= 400; ++i) {
        const QByteArray ref = "refs/heads/b" + QByteArray::number(i % 7);
        stream += "reset " + ref + "\ncommit " + ref + "\nmark :" + QByteArray::number(i) +
                  "\ncommitter A U <a@example.org> " + QByteArray::number(1700000000 + int(random() % 50)) +
                  " +0000\ndata 1\nx\n";
        if (i > 1)
            stream += "from :" + QByteArray::number(1 + int(random() % unsigned(i - 1))) + "\n";
        stream += "\n";
    }
    repo.git({"fast-import", "--quiet", "--force"}, stream);
    const auto plain = snapshotOf(repo);
    for (Row row = 0; row < plain->history.size(); ++row)
        for (const Row parent : plain->history.parents(row))
            QVERIFY(parent > row);
    repo.git({"commit-graph", "write", "--reachable"});
    QCOMPARE(tableOf(snapshotOf(repo)->history), tableOf(plain->history));
    auto rows = tableOf(plain->history), expected = lines(repo.git({"rev-list", "--parents", "--all"}));
    std::ranges::sort(rows);
    std::ranges::sort(expected);
    QCOMPARE(rows, expected);
}

void TestHistory::shallow()
{
    TempRepository repo;
    growRandomly(repo, 41, 500);
    TempRepository into;
    into.git({"fetch", "-q", "--depth=5", "file://" + repo.path(), "+refs/heads/*:refs/heads/*", "--update-head-ok"});
    const auto snapshot = snapshotOf(into);
    compareTable(into, snapshot);
    std::set<std::string> boundaries;
    for (Row row = 0; row < snapshot->history.size(); ++row)
        if (snapshot->history.isBoundary(row)) {
            boundaries.insert(snapshot->history.id(row).hex());
            QVERIFY(snapshot->history.parents(row).empty());
        }
    const auto listed = lines(into.readFile(".git/shallow"));
    QCOMPARE(boundaries, std::set(listed.begin(), listed.end()));
    QVERIFY(!snapshot->notices.empty());
    // After the rest has come, nothing of the cut is left, also when the earlier table is handed on.
    into.git({"fetch", "-q", "--unshallow", "file://" + repo.path(), "+refs/heads/*:refs/heads/*", "--update-head-ok"});
    compareTable(into, snapshotOf(into, snapshot));
}

void TestHistory::replacedAndGrafted()
{
    TempRepository repo;
    growRandomly(repo, 51, 300);
    repo.git({"commit-graph", "write", "--reachable"});
    const std::string victim = repo.git({"rev-parse", "main~4"}), elsewhere = repo.git({"rev-parse", "topic/3"});
    repo.git({"replace", "--graft", victim.c_str(), elsewhere.c_str()});
    auto snapshot = snapshotOf(repo);
    auto rows = tableOf(snapshot->history), expected = lines(repo.git({"rev-list", "--parents", "--all"}));
    std::ranges::sort(rows);
    std::ranges::sort(expected);
    QCOMPARE(rows, expected);
    QVERIFY(!snapshot->notices.empty());
    const auto altered = [&] {
        std::vector<std::string> found;
        for (Row row = 0; row < snapshot->history.size(); ++row) {
            if (snapshot->history.isReplaced(row))
                found.push_back("replaced " + snapshot->history.id(row).hex());
            if (snapshot->history.isGrafted(row))
                found.push_back("grafted " + snapshot->history.id(row).hex());
        }
        return found;
    };
    QCOMPARE(altered(), std::vector{"replaced " + victim});
    QVERIFY(
        findLandmarks(*snapshot).keepsRow[snapshot->history.find(*Oid::parse(victim))]); // never folded out of sight
    repo.git({"replace", "-d", victim.c_str()});
    repo.writeFile(".git/info/grafts", victim + " " + elsewhere + "\n");
    snapshot = snapshotOf(repo, snapshot);
    rows = tableOf(snapshot->history);
    expected = lines(repo.git({"rev-list", "--parents", "--all"}));
    std::ranges::sort(rows);
    std::ranges::sort(expected);
    QCOMPARE(rows, expected);
    QCOMPARE(altered(), std::vector{"grafted " + victim});
}

void TestHistory::newestRowsComeFirst_data()
{
    QTest::addColumn<bool>("graph");
    QTest::newRow("from objects") << false;
    QTest::newRow("with a commit-graph") << true;
}

// What is seen first is what stands there in the end: rows, refs, places, and the lines among the rows.
void TestHistory::newestRowsComeFirst()
{
    QFETCH(bool, graph);
    TempRepository repo;
    growRandomly(repo, 71, 1500);
    if (graph)
        repo.git({"commit-graph", "write", "--reachable"});
    SnapshotPtr first;
    const auto whole = takeSnapshot(repo.open(), {}, {}, [&](SnapshotPtr seen) { first = std::move(seen); });
    QVERIFY(whole.has_value() && first);
    const History& early = first->history;
    const History& late = (*whole)->history;
    QVERIFY(early.size() < late.size());
    for (Row row = 0; row < early.size(); ++row) {
        QCOMPARE(early.id(row).hex(), late.id(row).hex());
        QCOMPARE(early.time(row), late.time(row));
        QCOMPARE(first->placesOf(row), (*whole)->placesOf(row));
        std::vector<Row> among(late.parents(row).begin(), late.parents(row).end());
        std::erase_if(among, [&](Row parent) { return parent >= early.size(); });
        QCOMPARE(std::vector(early.parents(row).begin(), early.parents(row).end()), among);
        std::vector<std::string> earlyNames, lateNames;
        for (const int ref : first->refsAt(row))
            earlyNames.push_back(first->refs[std::size_t(ref)].name);
        for (const int ref : (*whole)->refsAt(row))
            lateNames.push_back((*whole)->refs[std::size_t(ref)].name);
        QCOMPARE(earlyNames, lateNames);
    }
    QCOMPARE(first->mainLineRef()->name, (*whole)->mainLineRef()->name);
    // A small history has no first rows.
    TempRepository small;
    growRandomly(small, 72, 200);
    first.reset();
    QVERIFY(takeSnapshot(small.open(), {}, {}, [&](SnapshotPtr seen) { first = std::move(seen); }).has_value() &&
            !first);
}

void TestHistory::reloadTakesOver()
{
    TempRepository repo;
    repo.git({"config", "fastimport.unpackLimit", "100000"});
    growRandomly(repo, 61, 800);
    const auto before = snapshotOf(repo);
    repo.commitFiles({}, "New", {repo.git({"rev-parse", "main"}), repo.git({"rev-parse", "topic/4"})}, "main");
    repo.git({"branch", "-D", "topic/8"});
    repo.git({"update-ref", "-d", "refs/remotes/origin/topic/8"});
    const auto after = snapshotOf(repo, before);
    compareTable(repo, after);
    QCOMPARE(tableOf(after->history), tableOf(snapshotOf(repo)->history));
    // Nothing that was known is read again: without one of its objects the whole cannot be loaded, and what came since can.
    const auto known = after->history.id(after->history.size() / 2).hex();
    const auto object = repo.fsPath() / ".git/objects" / known.substr(0, 2) / known.substr(2);
    QVERIFY(std::filesystem::remove(object));
    QVERIFY(!takeSnapshot(repo.open()).has_value());
    const auto newest = repo.commitFiles({}, "Newer", {repo.git({"rev-parse", "topic/4"})});
    repo.git({"update-ref", "refs/heads/topic/4", newest.c_str()});
    const auto later = snapshotOf(repo, after);
    QCOMPARE(later->history.size(), after->history.size() + 1);
    QVERIFY(later->history.find(*Oid::parse(newest)) != noRow);
}

void TestHistory::missingTipAndParent()
{
    TempRepository repo;
    growRandomly(repo, 71, 300);
    repo.writeFile(".git/refs/heads/gone", std::string(39, '1') + "2\n");
    repo.writeFile(".git/refs/heads/odd", "no id\n");
    const auto snapshot = snapshotOf(repo);
    QVERIFY(!snapshot->findRef("refs/heads/gone"));
    QVERIFY(!snapshot->findRef("refs/tags/tree"));
    QVERIFY(snapshot->findRef("refs/tags/v2"));
    QCOMPARE(snapshot->findRef("refs/tags/v2")->tip.hex(), repo.git({"rev-parse", "main~5"}));
    QCOMPARE(snapshot->notices.size(), std::size_t(2));
    const std::string orphan =
        repo.writeRaw("commit", "tree " + std::string(emptyTreeHex) + "\nparent " + std::string(40, 'a') +
                                    "\nauthor A <a@b> 1 +0000\ncommitter A <a@b> 1 +0000\n\nx\n");
    repo.writeFile(".git/refs/heads/orphan", orphan + "\n");
    const auto broken = takeSnapshot(repo.open());
    QVERIFY(!broken.has_value());
    QCOMPARE(broken.error().kind, ErrorKind::Broken);
    QCOMPARE(broken.error().on, std::string(40, 'a'));
}

QTEST_GUILESS_MAIN(TestHistory)
#include "test_history.moc"

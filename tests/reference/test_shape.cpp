// SPDX-License-Identifier: MIT
//
// The history of a real project's size against git's plumbing: rev-list for rows, order and places, for-each-ref for
// --contains and ahead-behind. ESPALIER_SHAPE_REPOSITORY names the repository (see tests/bench/build-shape; with a
// commit-graph git answers in a minute or two); without it nothing is tested here.
#include "core/history/drift.h"
#include "core/history/snapshot.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <map>
#include <random>
#include <set>

using namespace espalier;
using namespace espalier::test;

class TestShape : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void initTestCase();
    void table();
    void places();
    void drift();

  private:
    std::vector<std::string> git(const QStringList& arguments) const;
    QString m_path = qEnvironmentVariable("ESPALIER_SHAPE_REPOSITORY");
    SnapshotPtr m_snapshot;
};

void TestShape::initTestCase()
{
    if (m_path.isEmpty())
        QSKIP("ESPALIER_SHAPE_REPOSITORY is not set");
    const auto opened = Repository::open(m_path.toStdString());
    QVERIFY(opened.has_value());
    const auto taken = takeSnapshot(*opened);
    QVERIFY(taken.has_value());
    m_snapshot = *taken;
}

std::vector<std::string> TestShape::git(const QStringList& arguments) const
{
    const GitRun run = runProgram("git", QStringList{"-C", m_path} + arguments, QDir::tempPath());
    if (run.exitCode != 0)
        qFatal("git: %s", run.err.constData());
    std::vector<std::string> list;
    for (const QByteArray& line : run.out.split('\n'))
        if (!line.isEmpty())
            list.push_back(line.toStdString());
    return list;
}

// Every row with its parents, in git's order; then a hundred ranges.
void TestShape::table()
{
    const History& history = m_snapshot->history;
    using Line = std::pair<std::int64_t, std::string>;
    std::vector<Line> found, wanted;
    for (Row row = 0; row < history.size(); ++row) {
        std::string text = history.id(row).hex();
        for (const Row parent : history.parents(row))
            text += ' ' + history.id(parent).hex();
        found.emplace_back(history.time(row), std::move(text));
    }
    const auto timed = [&](const std::vector<std::string>& list) {
        std::vector<Line> lines;
        for (const std::string& line : list) {
            const Row row = history.find(Oid::parse(line.substr(0, 40)).value());
            lines.emplace_back(row == noRow ? 0 : history.time(row), line);
        }
        return lines;
    };
    // Commits of one second have no order of their own in git: it is that in which they happened to wait.
    const auto sameSecondsSorted = [](std::vector<Line> lines) {
        for (auto at = lines.begin(); at != lines.end();) {
            const auto end = std::find_if(at, lines.end(), [&](const Line& line) { return line.first != at->first; });
            std::sort(at, end);
            at = end;
        }
        return lines;
    };
    wanted = timed(git({"rev-list", "--date-order", "--parents", "--all"}));
    QCOMPARE(found.size(), wanted.size());
    QVERIFY(sameSecondsSorted(found) == sameSecondsSorted(wanted));

    // A range shows its commits in the order of the whole picture, which clocks that went wrong make another than git's for
    // the range alone; so what counts is which commits they are.
    std::mt19937 random(11);
    std::size_t held = 0;
    for (int sample = 0; sample < 100; ++sample) {
        const Row of = Row(random() % history.size()), without = Row(random() % history.size());
        std::vector<Row> rows;
        for (const std::string& id : git({"rev-list", QString::fromStdString(history.id(of).hex()),
                                          QString::fromStdString("^" + history.id(without).hex())}))
            rows.push_back(history.find(*Oid::parse(id)));
        std::ranges::sort(rows);
        QVERIFY2(history.onlyIn(of, without) == rows, qPrintable(QString::number(sample)));
        held += rows.size();
    }
    QVERIFY(held > 100);
}

// Places: every row against what git rev-list finds to be reached from each place's branches; and for a hundred commits, ref by
// ref, against git for-each-ref --contains. Asked about all refs of the shape that takes git a quarter of a minute a commit, so
// it is asked about some.
void TestShape::places()
{
    const Snapshot& snapshot = *m_snapshot;
    const History& history = snapshot.history;
    std::vector<Places> expected(history.size(), 0);
    for (const auto& [pattern, place] :
         {std::pair("--glob=refs/remotes/upstream/*", Place::Upstream),
          std::pair("--glob=refs/remotes/origin/*", Place::Fork), std::pair("--branches", Place::Clone)})
        for (const std::string& id : git({"rev-list", pattern}))
            expected[history.find(*Oid::parse(id))] |= placeBit(place);
    for (Row row = 0; row < history.size(); ++row)
        QCOMPARE(snapshot.placesOf(row), expected[row]);

    std::mt19937 random(5);
    std::size_t contained = 0;
    for (int sample = 0; sample < 100; ++sample) {
        const Row row = Row(random() % history.size());
        std::set<const Ref*> asked;
        while (asked.size() < 150)
            asked.insert(&snapshot.refs[random() % snapshot.refs.size()]);
        QStringList command{"for-each-ref", "--format=%(refname)", "--contains",
                            QString::fromStdString(history.id(row).hex())};
        for (const Ref* ref : asked)
            command << QString::fromStdString(ref->name);
        const auto listed = git(command);
        const std::set<std::string> names(listed.begin(), listed.end());
        for (const Ref* ref : asked)
            QCOMPARE(history.isAncestor(row, ref->row), names.contains(ref->name));
        for (const Ref* ref : asked)
            if (ref->place && names.contains(ref->name))
                QVERIFY(snapshot.placesOf(row) & placeBit(*ref->place));
        contained += names.size();
    }
    QVERIFY(contained > 0);
}

void TestShape::drift()
{
    const Snapshot& snapshot = *m_snapshot;
    std::map<std::string, std::string> wanted;
    const std::string main = snapshot.mainLineRef()->name;
    for (const auto& line :
         git({"for-each-ref", QString::fromStdString("--format=%(refname) %(ahead-behind:" + main + ")")})) {
        const std::size_t blank = line.find(' ');
        wanted[line.substr(0, blank)] = line.substr(blank + 1);
    }
    std::vector<Row> tips;
    for (const Ref& ref : snapshot.refs)
        tips.push_back(ref.row);
    const auto counts = driftOfAll(snapshot.history, snapshot.mainLineRef()->row, tips);
    QVERIFY(counts.has_value());
    for (std::size_t i = 0; i < tips.size(); ++i)
        QCOMPARE(std::to_string((*counts)[i].ahead) + ' ' + std::to_string((*counts)[i].behind),
                 wanted.at(snapshot.refs[i].name));
}

QTEST_GUILESS_MAIN(TestShape)
#include "test_shape.moc"

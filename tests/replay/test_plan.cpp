// SPDX-License-Identifier: MIT
//
// Plans: which commits, in which order, above what; their edits; the line for people who want to learn it.
// Reference: git's rev-list and merge-base.
#include "core/history/snapshot.h"
#include "core/replay/commit_table.h"
#include "core/replay/dry_run.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <algorithm>
#include <map>
#include <random>
#include <set>

using namespace espalier;
using namespace espalier::test;

namespace {

const Person person{"Ada Quill", "ada@example.org", 1700000500, 60};

Oid oid(const std::string& hex) { return *Oid::parse(hex); }

std::vector<std::string> hexes(const std::vector<Oid>& ids)
{
    std::vector<std::string> result;
    for (const Oid& id : ids)
        result.push_back(id.hex());
    return result;
}

std::vector<std::string> lines(const std::string& text)
{
    std::vector<std::string> result;
    for (const QString& line : QString::fromStdString(text).split('\n', Qt::SkipEmptyParts))
        result.push_back(line.toStdString());
    return result;
}

std::vector<std::string> sorted(std::vector<std::string> list)
{
    std::ranges::sort(list);
    return list;
}

QStringList ids(const QStringList& before, const std::string& a, const std::string& b)
{
    return before + QStringList{QString::fromStdString(a), QString::fromStdString(b)};
}

// main: r-m1-m2; topic: r-a-b-c; stacked branches at a and b.
struct Topic {
    TempRepository repo;
    std::string root, main, a, b, c;
    Topic(const std::string& subjectB = "Second", const std::string& subjectC = "Third")
    {
        root = repo.commitFiles({{"x", "1\n"}}, "Root", {}, "main");
        main = repo.commitFiles({{"y", "1\n"}}, "Main", {root}, "main");
        a = repo.commitFiles({{"a", "1\n"}}, "First", {root}, "low");
        b = repo.commitFiles({{"b", "1\n"}}, subjectB, {a}, "middle");
        c = repo.commitFiles({{"c", "1\n"}}, subjectC, {b}, "topic/x");
    }
    Result<Plan> plan(PlanOptions options = {})
    {
        const Repository opened = repo.open();
        options.committer = person;
        return planBranch(opened, **takeSnapshot(opened), "refs/heads/topic/x", oid(main), "upstream/main", options);
    }
};

std::vector<std::string> subjects(const Plan& plan)
{
    std::vector<std::string> list;
    for (const PlannedCommit& commit : plan.commits)
        list.push_back(commit.subject);
    return list;
}

} // namespace

class TestPlan : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void walksAsGitDoes()
    {
        std::mt19937 random(20251125);
        TempRepository repo;
        BulkHistory bulk;
        std::vector<int> marks;
        for (int i = 0; i < 160; ++i) {
            std::vector<int> parents;
            for (int n = marks.empty() ? 0 : 1 + int(random() % 4 == 0); n > 0; --n) {
                const int span = std::min<int>(int(marks.size()), 12);
                const int parent = marks[marks.size() - 1 - random() % std::size_t(span)];
                if (!std::ranges::contains(parents, parent))
                    parents.push_back(parent);
            }
            if (i == 40)
                parents.clear(); // a second root
            marks.push_back(bulk.commit("b" + std::to_string(i), parents, {{"f", std::to_string(i)}}, "c"));
        }
        const std::vector<std::string> all = bulk.import(repo);
        for (const bool graph : {false, true}) {
            if (graph)
                repo.git({"commit-graph", "write", "--reachable"});
            const Repository opened = repo.open();
            ObjectStore store(opened);
            CommitTable table(opened);
            for (int i = 0; i < 40; ++i) {
                const std::string tip = all[1 + random() % 160], onto = all[1 + random() % 160];
                const auto ways = table.divergence(store, oid(tip), oid(onto));
                QVERIFY(ways);
                // Source: git merge-base --all (in any order), git rev-list.
                QCOMPARE(sorted(hexes(ways->mergeBases)),
                         sorted(lines(repo.tryGit(ids({"merge-base", "--all"}, tip, onto)).out.toStdString())));
                QCOMPARE(sorted(hexes(ways->onlyLeft)), sorted(lines(repo.git(ids({"rev-list"}, tip, "^" + onto)))));
                QCOMPARE(sorted(hexes(ways->onlyRight)), sorted(lines(repo.git(ids({"rev-list"}, onto, "^" + tip)))));
                const auto order = table.topologicalOrder(store, oid(tip), ways->onlyLeft);
                QVERIFY(order);
                QCOMPARE(hexes(*order), lines(repo.git(ids({"rev-list", "--topo-order"}, tip, "^" + onto))));
                // Of many others one leads nowhere.
                std::vector<Oid> others{oid(std::string(40, 'e'))};
                QStringList asked = ids({"rev-list", "--topo-order"}, tip, "--not");
                for (int other = i % 5; other > 0; --other) {
                    others.push_back(oid(all[1 + random() % 160]));
                    asked << QString::fromStdString(others.back().hex());
                }
                const auto alone = table.reachedOnlyBy(store, oid(tip), others);
                QVERIFY(alone);
                QCOMPARE(hexes(*alone), lines(repo.git(asked)));
                const auto plan = planTip(store, table, oid(tip), oid(onto), person);
                QVERIFY(plan);
                std::vector<std::string> planned;
                for (const PlannedCommit& commit : plan->commits)
                    planned.push_back(commit.id.hex());
                QCOMPARE(planned, lines(repo.git(
                                      ids({"rev-list", "--topo-order", "--reverse", "--no-merges"}, tip, "^" + onto))));
            }
        }
    }

    void ownCommits_data()
    {
        QTest::addColumn<int>("wrongClocks"); // of a hundred commits
        QTest::addColumn<bool>("graph");
        for (const int wrong : {0, 3, 20})
            for (const bool graph : {false, true})
                QTest::addRow("%d %s", wrong, graph ? "graph" : "objects") << wrong << graph;
    }

    // A main line that takes side branches in, some of them begun long ago or out of another root, and topics on all of
    // it; one table is asked about several new bases, many topics on each. Reference: what each commit reaches, counted
    // out from the parents that rev-list prints. Where clocks are wrong by years that is more than divergence() promises,
    // and more than git's rev-list does; what is asked of both is then the same answer.
    void ownCommits()
    {
        QFETCH(int, wrongClocks);
        QFETCH(bool, graph);
        std::mt19937 random(unsigned(20261126 + wrongClocks));
        TempRepository repo;
        BulkHistory bulk;
        std::vector<int> mainLine, side, marks;
        const auto commit = [&](const std::string& name, const std::vector<int>& parents) {
            const long long before = bulk.clock();
            if (int(random() % 100) < wrongClocks)
                bulk.setClock(1600000000 + long(random() % 200000000));
            const int mark = bulk.commit(name, parents, {{"f", std::to_string(marks.size())}}, "c");
            bulk.setClock(before + long(random() % 2) * 60); // every second one at the same time as the next
            marks.push_back(mark);
            return mark;
        };
        const auto among = [&](const std::vector<int>& list, std::size_t newest) {
            return list[list.size() - 1 - random() % std::min(list.size(), newest)];
        };
        for (int i = 0; i < 300; ++i) {
            const unsigned kind = unsigned(random() % 10);
            if (mainLine.empty() || kind < 4)
                mainLine.push_back(
                    commit("main", mainLine.empty() ? std::vector<int>{} : std::vector{mainLine.back()}));
            else if (kind < 6 || side.empty())
                side.push_back(commit("side" + std::to_string(i), {among(mainLine, kind == 4 ? 5 : 300)}));
            else if (kind == 6)
                side.push_back(commit("side" + std::to_string(i), {among(side, 6)}));
            else if (kind == 7)
                side.push_back(commit("side" + std::to_string(i), {among(side, 3), among(mainLine, 10)}));
            else if (random() % 8 == 0)
                side.push_back(commit("side" + std::to_string(i), {}));
            else
                mainLine.push_back(commit("main", {mainLine.back(), among(side, 4)}));
        }
        const std::vector<std::string> all = bulk.import(repo);
        if (graph)
            repo.git({"commit-graph", "write", "--reachable"});
        std::map<std::string, std::set<std::string>> reached; // parents come first
        for (const std::string& line :
             lines(repo.git({"rev-list", "--all", "--parents", "--topo-order", "--reverse"}))) {
            std::set<std::string>& own = reached[line.substr(0, 40)];
            for (std::size_t at = 41; at < line.size(); at += 41) {
                const std::set<std::string>& below = reached[line.substr(at, 40)];
                own.insert(below.begin(), below.end());
            }
            own.insert(line.substr(0, 40));
        }
        const Repository opened = repo.open();
        ObjectStore store(opened);
        CommitTable table(opened), small(opened, 50), fresh(opened);
        for (int i = 0; i < 240; ++i) {
            const std::string onto =
                all[std::size_t(i < 200 ? mainLine[mainLine.size() - 1 - std::size_t(i / 50) * 7] : among(marks, 300))];
            const std::string tip = all[std::size_t(among(marks, 300))];
            std::vector<std::string> own, theirs, common, bases;
            std::ranges::set_difference(reached[tip], reached[onto], std::back_inserter(own));
            std::ranges::set_difference(reached[onto], reached[tip], std::back_inserter(theirs));
            std::ranges::set_intersection(reached[tip], reached[onto], std::back_inserter(common));
            for (const std::string& base : common)
                if (std::ranges::none_of(common, [&](const std::string& other) {
                        return other != base && reached[other].contains(base);
                    }))
                    bases.push_back(base);
            if (wrongClocks > 0) {
                const auto ways = fresh.divergence(store, oid(tip), oid(onto));
                QVERIFY(ways);
                own = sorted(hexes(ways->onlyLeft));
                bases = sorted(hexes(ways->mergeBases));
            }
            for (CommitTable* asked : {&table, &small}) {
                const auto found = asked->ownCommits(store, oid(tip), oid(onto));
                QVERIFY(found);
                QCOMPARE(sorted(hexes(found->commits)), own);
                QCOMPARE(sorted(hexes(found->mergeBases)), bases);
                const auto others = asked->others(store, oid(tip), oid(onto));
                QVERIFY(others);
                std::vector<Oid> meant(others->commits.begin(), others->commits.end());
                if (others->reached)
                    std::erase_if(meant, others->reached);
                const auto listed = sorted(hexes(meant));
                // Where clocks are wrong, what both have may be among them; never is one of them missing.
                QVERIFY(std::ranges::includes(listed, theirs));
                if (wrongClocks == 0)
                    QCOMPARE(listed, theirs);
            }
        }
    }

    // The topic stands on a side branch that main has taken in under a commit dated long before all others.
    void sideBranchOfAnotherTime()
    {
        TempRepository repo;
        BulkHistory bulk;
        const auto commit = [&](const std::string& branch, const std::vector<int>& parents) {
            return bulk.commit(branch, parents, {{branch, std::to_string(bulk.clock())}}, "c");
        };
        const int root = commit("main", {}), base = commit("main", {root}), side = commit("side", {base});
        const int tip = commit("topic", {side});
        const long long now = bulk.clock();
        bulk.setClock(1000);
        const int dated = commit("side", {side});
        bulk.setClock(now);
        const int onto = commit("main", {commit("main", {base}), dated});
        const std::vector<std::string> all = bulk.import(repo);
        const Repository opened = repo.open();
        ObjectStore store(opened);
        CommitTable table(opened);
        const auto own = table.ownCommits(store, oid(all[std::size_t(tip)]), oid(all[std::size_t(onto)]));
        QVERIFY(own);
        QCOMPARE(hexes(own->commits), std::vector{all[std::size_t(tip)]});
        QCOMPARE(hexes(own->mergeBases), std::vector{all[std::size_t(side)]});
        // Nor is what stands below the dated one the topic's own to who asks with that one alone.
        const std::vector<Oid> others{oid(all[std::size_t(root)]), oid(all[std::size_t(dated)])};
        const auto alone = table.reachedOnlyBy(store, oid(all[std::size_t(tip)]), others);
        QVERIFY(alone);
        QCOMPARE(hexes(*alone), std::vector{all[std::size_t(tip)]});
    }

    void stacksAndLabels()
    {
        Topic topic;
        const auto plan = topic.plan();
        QVERIFY(plan);
        QCOMPARE(plan->label, std::string("topic/x"));
        QCOMPARE(plan->below.hex(), topic.root);
        QCOMPARE(plan->mergeBase.hex(), topic.root);
        QCOMPARE(plan->stacked.size(), 2u);
        QCOMPARE(plan->stacked[0].ref, std::string("refs/heads/low"));
        QCOMPARE(plan->stacked[1].ref, std::string("refs/heads/middle"));
        QCOMPARE(commandLineEquivalent(*plan),
                 "git rebase --update-refs --onto upstream/main " + topic.root.substr(0, 7) + " topic/x");
        Plan odd = *plan;
        odd.stacked.clear();
        odd.branch = "refs/heads/it's; $(rm)";
        QCOMPARE(commandLineEquivalent(odd),
                 "git rebase --onto upstream/main " + topic.root.substr(0, 7) + " 'it'\\''s; $(rm)'");
        PlanOptions alone;
        alone.carryStacked = false;
        QVERIFY(topic.plan(alone)->stacked.empty());
    }

    void ranges()
    {
        Topic topic;
        const Repository opened = topic.repo.open();
        const SnapshotPtr snapshot = *takeSnapshot(opened);
        PlanOptions options;
        options.committer = person;
        const auto whole = planRange(opened, *snapshot, "refs/heads/topic/x", oid(topic.a), oid(topic.b),
                                     oid(topic.main), "main", options);
        QVERIFY(whole);
        QCOMPARE(subjects(*whole), (std::vector<std::string>{"Second", "Third"}));
        QCOMPARE(whole->label, std::string("2 commits of topic/x"));
        const auto bare =
            planRange(opened, *snapshot, "", oid(topic.a), oid(topic.b), oid(topic.main), "main", options);
        QVERIFY(bare);
        QCOMPARE(subjects(*bare), std::vector<std::string>{"Second"});
        const auto onItself =
            planRange(opened, *snapshot, "", oid(topic.root), oid(topic.c), oid(topic.b), "here", options);
        QVERIFY(!onItself);
        QCOMPARE(onItself.error().kind, ErrorKind::Refused);
        const auto notALine =
            planRange(opened, *snapshot, "", oid(topic.main), oid(topic.c), oid(topic.main), "main", options);
        QVERIFY(!notALine);
        const auto root = planRange(opened, *snapshot, "", Oid{}, oid(topic.b), oid(topic.main), "main", options);
        QVERIFY(root);
        QCOMPARE(subjects(*root), (std::vector<std::string>{"Root", "First", "Second"}));
    }

    void refusals()
    {
        Topic topic;
        const Repository opened = topic.repo.open();
        const SnapshotPtr snapshot = *takeSnapshot(opened);
        PlanOptions options;
        options.committer = person;
        const auto none = planBranch(opened, *snapshot, "refs/heads/none", oid(topic.main), "main", options);
        QVERIFY(!none);
        QCOMPARE(none.error().kind, ErrorKind::NotFound);
        const auto nothing = planBranch(opened, *snapshot, "refs/heads/low", oid(topic.c), "topic/x", options);
        QVERIFY(!nothing);
        QCOMPARE(nothing.error().kind, ErrorKind::Refused);
    }

    void edits()
    {
        Topic topic;
        const Plan plan = *topic.plan();
        QVERIFY(!withTreatment(plan, 0, Treatment::Fold));
        QVERIFY(!withTreatment(plan, 9, Treatment::LeaveOut));
        const auto folded = withTreatment(plan, 1, Treatment::Fold);
        QVERIFY(folded);
        QVERIFY(!withTreatment(*folded, 0, Treatment::LeaveOut)); // nothing left to fold into
        QVERIFY(!withMoved(*folded, 1, 0));
        const auto moved = withMoved(plan, 2, 0);
        QCOMPARE(subjects(*moved), (std::vector<std::string>{"Third", "First", "Second"}));
        QCOMPARE(subjects(*withMoved(plan, 0, 2)), (std::vector<std::string>{"Second", "Third", "First"}));
        QVERIFY(!withMessage(plan, 1, " \n\n"));
        QCOMPARE(*withMessage(plan, 1, "New words")->commits[1].newMessage, std::string("New words\n"));
        QVERIFY(plan.commits[1].treatment == Treatment::Carry); // the old one is as it was
    }

    void fixups()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"x", "1\n"}}, "Root", {}, "main");
        std::string at = root;
        int number = 0;
        for (const std::string message :
             {"Parser", "Printer", "fixup! Parser", "squash! Printer\n\nAnd say why.", "fixup! fixup! Parser",
              "amend! Parser\n\nThe parser\n\nIn better words.", "fixup! Nobody", "fixup! Pri"})
            at = repo.commitFiles({{"f" + std::to_string(number++), "1\n"}}, message, {at}, "topic");
        const Repository opened = repo.open();
        PlanOptions options;
        options.committer = person;
        const auto plan = planBranch(opened, **takeSnapshot(opened), "refs/heads/topic", oid(root), "main", options);
        QVERIFY(plan);
        const Plan gathered = withFixupsGathered(opened, *plan);
        QCOMPARE(subjects(gathered),
                 (std::vector<std::string>{"Parser", "fixup! Parser", "fixup! fixup! Parser", "amend! Parser",
                                           "Printer", "squash! Printer", "fixup! Pri", "fixup! Nobody"}));
        QCOMPARE(*gathered.commits[0].newMessage, std::string("The parser\n\nIn better words.\n"));
        QCOMPARE(gathered.commits[1].treatment, Treatment::FoldQuietly);
        QCOMPARE(gathered.commits[5].treatment, Treatment::Fold);
        QCOMPARE(*gathered.commits[5].newMessage, std::string("And say why.\n"));
        QCOMPARE(gathered.commits[7].treatment, Treatment::Carry);
    }
};

QTEST_GUILESS_MAIN(TestPlan)
#include "test_plan.moc"

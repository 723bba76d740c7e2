// SPDX-License-Identifier: MIT
//
// Who stands behind the sides of a hunk of a real dry run.
#include "core/conflicts/hunk_commits.h"

#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestHunkCommits : public QObject {
    Q_OBJECT

    static std::string numbered(std::map<int, std::string> changed = {})
    {
        std::string text;
        for (int i = 1; i <= 30; ++i)
            text += (changed.contains(i) ? changed[i] : std::to_string(i)) + "\n";
        return text;
    }

    static std::vector<HunkCommits> whoOf(const Repository& opened, const DryRun& run, std::size_t commit)
    {
        const auto text = conflictText(opened, run, commit, 0);
        if (!text)
            qFatal("%s", text.error().line().c_str());
        auto who = hunkCommits(opened, run, commit, *text);
        if (!who)
            qFatal("%s", who.error().line().c_str());
        return *who;
    }

    static QStringList subjects(const std::vector<LineCommit>& commits)
    {
        QStringList all;
        for (const LineCommit& commit : commits)
            all << QString::fromStdString(commit.subject);
        return all;
    }

  private Q_SLOTS:
    // The last commit that touched the file changed other lines.
    void namesTheCommitsOfTheHunk()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered()}}, "Root", {}, "main");
        const std::string one = repo.commitFiles({{"f", numbered({{5, "N"}})}}, "One", {root}, "main");
        const std::string two = repo.commitFiles({{"f", numbered({{5, "NN"}})}}, "Two", {one}, "main");
        const std::string last = repo.commitFiles({{"f", numbered({{5, "NN"}, {20, "M"}})}}, "Last", {two}, "main");
        repo.commitFiles({{"f", numbered({{5, "Y"}, {20, "Z"}})}}, "Topic", {root}, "topic");
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", last));
        const auto who = whoOf(opened, run, 0);
        QCOMPARE(who.size(), 2u);
        QCOMPARE(subjects(who[0].newBase), (QStringList{"Two", "One"}));
        QCOMPARE(subjects(who[1].newBase), QStringList{"Last"});
        QVERIFY(!who[0].earlierOfTopic && who[0].topic.empty());
    }

    // Earlier commits of the topic: their lines are what the commit goes on from, and part of what it meets.
    void namesEarlierCommitsOfTheTopic()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered()}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"f", numbered({{5, "N"}})}}, "Main", {root}, "main");
        const std::string a = repo.commitFiles({{"f", numbered({{5, "Y"}})}}, "A", {root}, "topic");
        repo.commitFiles({{"f", numbered({{5, "YY"}})}}, "B", {a}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun first = runOf(opened, plan);
        const auto text = conflictText(opened, first, 0, 0);
        QVERIFY(text);
        FileSettlement file = undecided(*text);
        file.decide(0, {Choice::Typed, "both\n"});
        const DryRun run = runOf(opened, plan, Settlements().with(text->key, file));
        QCOMPARE(run.commits[1].conflicts.size(), 1u);
        const auto who = whoOf(opened, run, 1);
        QCOMPARE(subjects(who[0].newBase), QStringList{"Main"});
        QVERIFY(who[0].earlierOfTopic);
        QCOMPARE(subjects(who[0].topic), QStringList{"A"});
    }
};

QTEST_APPLESS_MAIN(TestHunkCommits)
#include "test_hunk_commits.moc"

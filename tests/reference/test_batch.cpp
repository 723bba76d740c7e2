// SPDX-License-Identifier: MIT
//
// Whole branches through the outermost door, `espalier dry-run --batch`, against the same branches replayed with git: a
// `git merge-tree --merge-base` for every commit, onto the tree that the one before gave.
// ESPALIER_MERGE_SEEDS=FIRST-LAST replays those of other seeds.
#include "core/git/text.h"
#include "core/replay/caches.h"
#include "core/replay/dry_run.h"
#include "tests/support/project_history.h"
#include "tests/support/reference_merge.h"
#include "tests/support/seed_rows.h"

#include <QtTest/QtTest>
#include <nlohmann/json.hpp>

using namespace espalier;
using namespace espalier::test;

namespace {

using Paths = std::set<std::string>;

struct Step {
    bool answered = false, clean = false; // not answered: nor when the answer cannot be
    std::string tree;
    Paths conflicts; // as in the JSON output
};

Step gitStep(const TempRepository& repo, const std::string& base, const std::string& onto, const std::string& commit)
{
    const ReferenceMerge merge = referenceMerges(repo, {{base, onto, commit}}, ReadAttributes::OfNewBase).front();
    Step step{merge.answered() && !listsFileAndFolder(merge), merge.clean, merge.tree, {}};
    for (const std::string& stage : merge.stages) {
        QString path = QString::fromStdString(escapePath(stage.substr(stage.find('\t') + 1)));
        // The name of a file that makes place ends in the side's name, which is another one here.
        path.replace("~" + QString::fromStdString(onto), "~new_base")
            .replace("~" + QString::fromStdString(commit), "~your_commit");
        step.conflicts.insert(path.toStdString());
    }
    return step;
}

// Of conflicts that git lists; where a renamed folder leaves a question, it has none, and "unclear" names it.
Paths pathsOf(const nlohmann::json& commit)
{
    Paths paths;
    for (const auto& conflict : commit["conflicts"])
        paths.insert(conflict["path"].get<std::string>());
    return paths;
}

std::string told(const Paths& paths)
{
    std::string text;
    for (const std::string& path : paths)
        text += " " + path;
    return text;
}

} // namespace

class TestBatch : public QObject {
    Q_OBJECT

    static ProjectKnobs knobsOf(int seed)
    {
        ProjectKnobs knobs = ProjectKnobs::of(std::uint64_t(seed));
        knobs.merges = 8;
        knobs.files = std::max(knobs.files, 30);
        // Most commits of a real branch go through: fewer moves, and no more than a few changes each.
        knobs.movesPercent = 18;
        return knobs;
    }

  private Q_SLOTS:
    void batches_data() { addSeedRows({1, 2, 3, 4, 5}); }
    void batches()
    {
        QFETCH(int, seed);
        TempRepository repo(TempRepository::Bare);
        const std::vector<TopicCase> topics = projectTopics(repo, knobsOf(seed));
        QByteArray input;
        for (const TopicCase& topic : topics)
            input += QByteArray::fromStdString(topic.tip + " " + topic.onto + "\n");
        const GitRun run = runProgram(ESPALIER_PROGRAM, {"dry-run", repo.path(), "--batch"}, repo.path(), input);
        const QList<QByteArray> lines = run.out.trimmed().split('\n');
        QCOMPARE(std::size_t(lines.size()), topics.size());
        int steps = 0;
        for (std::size_t i = 0; i < topics.size(); ++i) {
            const auto answer = nlohmann::json::parse(lines[qsizetype(i)].toStdString());
            QCOMPARE(answer["commits"].size(), topics[i].commits.size());
            std::string onto = topics[i].onto, base = topics[i].base;
            for (std::size_t k = 0; k < topics[i].commits.size(); ++k) {
                const auto& commit = answer["commits"][k];
                QCOMPARE(commit["id"].get<std::string>(), topics[i].commits[k]);
                const Step step = gitStep(repo, std::exchange(base, topics[i].commits[k]), onto, topics[i].commits[k]);
                const std::string outcome = commit["outcome"];
                if (outcome == "landed") // an equal change is in the new base: it is not merged at all
                    continue;
                if (!step.answered)
                    break;
                ++steps;
                const std::string where = base + " onto " + onto + ": ";
                if (!step.clean) {
                    QVERIFY2(outcome == "conflict", (where + outcome + ", git has conflicts").c_str());
                    const Paths found = pathsOf(commit);
                    QVERIFY2(found == step.conflicts,
                             (where + "\n  here:" + told(found) + "\n  git: " + told(step.conflicts)).c_str());
                    QVERIFY(!found.empty() || !commit["unclear"].empty());
                    break;
                }
                QVERIFY2(outcome == "clean" || outcome == "empty", (where + outcome + ", git is clean").c_str());
                if (outcome == "clean")
                    QCOMPARE(commit["newTree"].get<std::string>(), step.tree);
                else
                    QCOMPARE(QString::fromStdString(step.tree),
                             QString::fromStdString(repo.git({"rev-parse", QString::fromStdString(onto) + "^{tree}"})));
                onto = step.tree;
            }
        }
        QVERIFY(steps > int(topics.size()));
    }

    // What comes behind a conflict is merged onto what the dry run holds there; what does not touch it is as git has it.
    void behindConflicts_data() { addSeedRows({6, 7, 8}); }
    void behindConflicts()
    {
        QFETCH(int, seed);
        TempRepository repo(TempRepository::Bare);
        const std::vector<TopicCase> topics = projectTopics(repo, knobsOf(seed));
        const Repository opened = repo.open();
        int behind = 0;
        for (const TopicCase& topic : topics) {
            ObjectStore store(opened);
            ReplayCaches caches(opened);
            const Person person{"Ada Quill", "ada@example.org", 1700000500, 60};
            const auto plan =
                planTip(store, caches.commits, *Oid::parse(topic.tip), *Oid::parse(topic.onto), person, false);
            QVERIFY(plan);
            const auto run = dryRun(opened, *plan);
            QVERIFY2(run, run ? "" : run.error().line().c_str());
            QVERIFY(writeObjects(opened, *run->objects));
            for (std::size_t k = run->firstConflict() + 1; k < run->commits.size(); ++k) {
                const ReplayedCommit& commit = run->commits[k];
                const std::string base = k == 0 ? topic.base : topic.commits[k - 1];
                const Step step = gitStep(repo, base, commit.newBaseTree.hex(), topic.commits[k]);
                if (!step.answered || !commit.dependsOn.empty())
                    continue;
                ++behind;
                Paths found;
                for (const Conflict& conflict : commit.conflicts)
                    found.insert(escapePath(conflict.path.path));
                const std::string where = topic.commits[k] + " onto " + commit.newBaseTree.hex();
                QVERIFY2((commit.outcome == Outcome::Conflict) == !step.clean, where.c_str());
                QVERIFY2(step.conflicts.empty() || found == step.conflicts,
                         (where + "\n  here:" + told(found) + "\n  git: " + told(step.conflicts)).c_str());
            }
        }
        QVERIFY(behind > 0 || qEnvironmentVariableIsSet("ESPALIER_MERGE_SEEDS"));
    }
};

QTEST_GUILESS_MAIN(TestBatch)
#include "test_batch.moc"

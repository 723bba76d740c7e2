// SPDX-License-Identifier: MIT
//
// `espalier replay --settle proposed`: takes what was settled before and what is proposed; where that leaves a hunk nothing is
// changed, and it says what is left.
#include "core/conflicts/commit_conflicts.h"
#include "core/settle/memory_store.h"
#include "tests/support/policy_scene.h"

#include <QJsonArray>
#include <QJsonDocument>
#include <QJsonObject>
#include <QtTest>

#include <ctime>

using namespace espalier;
using namespace espalier::test;

class TestReplayProposed : public QObject {
    Q_OBJECT

    static GitRun replay(const TempRepository& repo, const QStringList& more = {})
    {
        return runProgram(
            QStringLiteral(ESPALIER_PROGRAM),
            QStringList{"replay", repo.path(), "--branch", "topic/x", "--onto", "main", "--settle", "proposed"} + more,
            repo.outside());
    }
    static QJsonObject json(const GitRun& run) { return QJsonDocument::fromJson(run.out).object(); }
    // All that clashes in the file was settled before.
    static void rememberAll(const PolicyScene& scene, std::size_t file, const HunkDecision& decision,
                            bool otherWayRound = false)
    {
        const Repository opened = scene.repo.open();
        const auto run = std::make_shared<const DryRun>(dryRun(opened, scene.plan()).value());
        const CommitConflicts read = readConflicts(scene.repo.fsPath().string(), run, 0, {}).value();
        for (ConflictHunk hunk : read.files[file].text.hunks) {
            if (otherWayRound)
                std::swap(hunk.newBaseText, hunk.commitText);
            QVERIFY(remember(opened,
                             {textsOfHunk(hunk),
                              SettledBefore::Sides{hunk.ancestorText, hunk.newBaseText, hunk.commitText},
                              decision,
                              "lib/own.c",
                              "topic/y",
                              {},
                              "Own it",
                              std::time(nullptr)},
                             std::time(nullptr)));
        }
    }

  private Q_SLOTS:
    void takesAllThereIs()
    {
        const PolicyScene scene(200, false);
        const GitRun run = replay(scene.repo);
        QVERIFY2(run.exitCode == 0, run.err.constData());
        QVERIFY2(run.out.contains("Taken for doc/notes.txt, hunk 2 of ") && run.out.contains("Applied."),
                 run.out.constData());
        QCOMPARE(scene.repo.git({"show", "topic/x:doc/notes.txt"}) + "\n",
                 PolicyScene::notes("topic brings that", "topic ends that"));
        QCOMPARE(scene.repo.git({"rev-parse", "topic/x~1"}), scene.repo.git({"rev-parse", "main"}));
    }

    void stopsWhereSomethingIsLeft()
    {
        const PolicyScene scene(200, true);
        const std::string tip = scene.repo.git({"rev-parse", "topic/x"});
        const auto before = folderState(scene.repo.fsPath());
        GitRun run = replay(scene.repo);
        QCOMPARE(run.exitCode, 1);
        QVERIFY2(run.err.contains("1 hunk of 1 file: lib/own.c (1)") && run.err.contains("Nothing was changed"),
                 run.err.constData());
        QVERIFY(run.out.contains("Taken for doc/notes.txt, hunk 1 of "));
        QCOMPARE(scene.repo.git({"rev-parse", "topic/x"}), tip);
        QCOMPARE(folderState(scene.repo.fsPath()), before);
        run = replay(scene.repo, {"--json"});
        QCOMPARE(run.exitCode, 1);
        const QJsonObject answer = json(run);
        QCOMPARE(answer["clean"].toBool(), false);
        QCOMPARE(answer["left"].toArray(), (QJsonArray{QJsonObject{{"path", "lib/own.c"}, {"hunks", 1}}}));
        const QJsonArray taken = answer["taken"].toArray();
        QCOMPARE(taken.size(), 2);
        QCOMPARE(taken[1].toObject()["path"].toString(), QStringLiteral("doc/notes.txt"));
        QCOMPARE(taken[1].toObject()["hunk"].toInt(), 2);
        QCOMPARE(taken[1].toObject()["from"].toString(), QStringLiteral("proposal"));
        QCOMPARE(taken[1].toObject()["commit"].toString().toStdString(), tip);
        QVERIFY(taken[1].toObject()["reason"].toString().contains(QStringLiteral("doc/notes.txt")));
    }

    void takesWhatWasSettledBefore()
    {
        const PolicyScene scene(0, true);
        rememberAll(scene, 0, {Choice::NewBaseFirst, {}});
        rememberAll(scene, 1, {Choice::Typed, "long x = 1;\n"});
        const GitRun run = replay(scene.repo, {"--json"});
        QVERIFY2(run.exitCode == 0, run.err.constData());
        const QJsonArray taken = json(run)["taken"].toArray();
        QCOMPARE(taken.size(), 3);
        QCOMPARE(taken[2].toObject()["from"].toString(), QStringLiteral("memory"));
        QVERIFY(taken[2].toObject()["reason"].toString().contains(QStringLiteral("topic/y")));
        QVERIFY(json(run)["left"].toArray().isEmpty());
        QVERIFY(!json(run)["entry"].toString().isEmpty());
        QVERIFY(scene.repo.git({"show", "topic/x:lib/own.c"}).contains("long x = 1;"));
        QCOMPARE(scene.repo.git({"show", "topic/x:doc/notes.txt"}) + "\n",
                 PolicyScene::notes("base has this\ntopic brings that", "base ends this\ntopic ends that"));
    }

    // What is only alike to what was settled before is for somebody to look at.
    void whatIsOnlyAlikeIsNotTaken()
    {
        const PolicyScene scene(0, true);
        rememberAll(scene, 0, {Choice::NewBaseFirst, {}}, true);
        rememberAll(scene, 1, {Choice::Typed, "long x = 1;\n"});
        const GitRun run = replay(scene.repo, {"--json"});
        QCOMPARE(run.exitCode, 1);
        QCOMPARE(json(run)["taken"].toArray().size(), 1);
        QVERIFY2(run.err.contains("2 hunks of 1 file: doc/notes.txt (2)"), run.err.constData());
    }

    // What is remembered comes before what is proposed.
    void memoryFirst()
    {
        const PolicyScene scene(200, false);
        rememberAll(scene, 0, {Choice::NewBase, {}});
        QCOMPARE(replay(scene.repo).exitCode, 0);
        QCOMPARE(scene.repo.git({"rev-parse", "topic/x^{tree}"}), scene.repo.git({"rev-parse", "main^{tree}"}));
    }

    // Without a record and a memory it takes nothing, and what is like that is said in full.
    void takesNothingWhereNothingIsKnown()
    {
        const PolicyScene scene(0, true);
        const GitRun run = replay(scene.repo);
        QCOMPARE(run.exitCode, 1);
        QVERIFY2(run.err.contains("3 hunks of 2 files: doc/notes.txt (2), lib/own.c (1)"), run.err.constData());
        QVERIFY(!run.out.contains("Taken"));
    }

    // What was settled so is recorded for git.
    void gitFindsIt()
    {
        const PolicyScene scene(200, false);
        scene.repo.git({"config", "rerere.enabled", "true"});
        const QString tip = QString::fromStdString(scene.repo.git({"rev-parse", "topic/x"}));
        QCOMPARE(replay(scene.repo).exitCode, 0);
        scene.repo.git({"reset", "--quiet", "--hard", tip});
        const GitRun rebase = scene.repo.tryGit({"rebase", "main"});
        QVERIFY2((rebase.out + rebase.err).contains("using previous resolution"),
                 (rebase.out + rebase.err).constData());
        QCOMPARE(scene.repo.readFile("doc/notes.txt"), PolicyScene::notes("topic brings that", "topic ends that"));
    }
};

QTEST_GUILESS_MAIN(TestReplayProposed)
#include "test_replay_proposed.moc"

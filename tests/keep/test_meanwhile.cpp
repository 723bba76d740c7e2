// SPDX-License-Identifier: MIT
//
// What other programs do in the midst of a change: an editor saves after everything was looked at, git checks something out while
// files, index and refs move, and a working copy of the index stands there from a program that was killed.
#include "core/keep/apply.h"
#include "core/keep/apply_steps.h"
#include "core/keep/recover.h"
#include "tests/support/replay_scene.h"

#include <QtTest/QtTest>

#include <filesystem>

using namespace espalier;
using namespace espalier::test;

namespace {

namespace fs = std::filesystem;

std::string tipOf(const ReplayScene& scene) { return scene.repo.git({"rev-parse", "topic/x"}); }

void checkNothingIsLeft(const ReplayScene& scene)
{
    for (const auto& file : fs::recursive_directory_iterator(scene.repo.fsPath())) {
        const std::string name = file.path().filename().string();
        QVERIFY2(!name.ends_with(".lock") && !name.ends_with(".open") && !name.contains("espalier-") &&
                     !name.ends_with(".espalier"),
                 file.path().c_str());
    }
}

} // namespace

class TestMeanwhile : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void cleanup() { setApplyStepCallback({}); }

    // Nothing is in the way any more: then an editor saves what the change is about to replace, take away or bring.
    void savedAfterTheCheck_data()
    {
        QTest::addColumn<QString>("file");
        QTest::addColumn<bool>("byRename");
        QTest::newRow("a file that changes") << "b.txt" << false;
        QTest::newRow("a file that changes, by a rename") << "b.txt" << true;
        QTest::newRow("a file that goes") << "gone/only.txt" << false;
        QTest::newRow("a file that comes") << "up/new.txt" << false;
        QTest::newRow("a file that comes, by a rename") << "up/new.txt" << true;
    }
    void savedAfterTheCheck()
    {
        QFETCH(QString, file);
        QFETCH(bool, byRename);
        ReplayScene scene;
        const std::string name = file.toStdString();
        bool saved = false;
        setApplyStepCallback([&](ApplyStep step) {
            if (step != ApplyStep::PathsChecked || saved)
                return;
            saved = true;
            scene.repo.writeFile(byRename ? name + "~" : name, "typed just now\n");
            if (byRename)
                fs::rename(scene.repo.fsPath() / (name + "~"), scene.repo.fsPath() / name);
        });
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY(saved);
        QCOMPARE(scene.repo.readFile(name), "typed just now\n");
        // All the rest is on one side, and the answer says which.
        QCOMPARE(tipOf(scene), applied ? scene.replayed[1] : scene.topic[1]);
        const std::string status = scene.status(), isTracked = " M " + name, isNot = "?? " + name;
        QVERIFY2(status == isTracked || status == isNot || isNot.starts_with(status), status.c_str());
        const std::string said =
            applied ? (applied->notices.empty() ? std::string() : applied->notices.front()) : applied.error().line();
        QVERIFY2(said.contains(name), said.c_str());
        checkNothingIsLeft(scene);
    }

    // Whoever checks something out while index, worktree and HEAD disagree would take our files for changes of the user's.
    void checkedOutInTheMidst_data()
    {
        QTest::addColumn<int>("step");
        for (const auto& [name, step] :
             {std::pair("PathsChecked", ApplyStep::PathsChecked), std::pair("FileMoved", ApplyStep::FileMoved),
              std::pair("WorktreeMoved", ApplyStep::WorktreeMoved), std::pair("IndexMoved", ApplyStep::IndexMoved),
              std::pair("PartMoved", ApplyStep::PartMoved), std::pair("RefsMoved", ApplyStep::RefsMoved)})
            QTest::newRow(name) << int(step);
    }
    void checkedOutInTheMidst()
    {
        QFETCH(int, step);
        ReplayScene scene;
        scene.repo.git({"branch", "other", "main"});
        scene.repo.writeFile("untracked.txt", "mine\n");
        GitRun checkedOut, detached;
        bool passed = false;
        setApplyStepCallback([&](ApplyStep now) {
            if (int(now) != step || passed)
                return;
            passed = true;
            checkedOut = scene.repo.tryGit({"checkout", "--quiet", "other"});
            detached = scene.repo.tryGit({"symbolic-ref", "HEAD", "refs/heads/other"});
        });
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY(passed);
        QVERIFY2(checkedOut.exitCode != 0, "git checks out");
        QVERIFY2(detached.exitCode != 0, "git moves HEAD");
        QVERIFY2(applied, applied ? "" : applied.error().line().c_str());
        QCOMPARE(scene.repo.git({"symbolic-ref", "HEAD"}), "refs/heads/topic/x");
        QCOMPARE(tipOf(scene), scene.replayed[1]);
        QCOMPARE(scene.status(), "?? untracked.txt");
        QCOMPARE(scene.repo.readFile("untracked.txt"), "mine\n");
        checkNothingIsLeft(scene);
        scene.checkSound();
    }

    // The copy of the index that a killed program had at work, and the lock on it: nobody else takes them away.
    void copyOfTheIndexLeftBehind_data()
    {
        QTest::addColumn<QStringList>("left");
        QTest::newRow("the copy") << QStringList{"index.espalier"};
        QTest::newRow("its lock") << QStringList{"index.espalier.lock"};
        QTest::newRow("both") << QStringList{"index.espalier", "index.espalier.lock"};
    }
    void copyOfTheIndexLeftBehind()
    {
        QFETCH(QStringList, left);
        ReplayScene scene;
        for (const QString& name : left)
            scene.repo.writeFile(".git/" + name.toStdString(), "half an index");
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY2(applied, applied ? "" : applied.error().line().c_str());
        QCOMPARE(tipOf(scene), scene.replayed[1]);
        QCOMPARE(scene.status(), "");
        checkNothingIsLeft(scene);
        for (const QString& name : left)
            scene.repo.writeFile(".git/" + name.toStdString(), "half an index");
        const auto back = checkOut(scene.repo.open(), "main");
        QVERIFY2(back, back ? "" : back.error().line().c_str());
        checkNothingIsLeft(scene);
    }
};

QTEST_GUILESS_MAIN(TestMeanwhile)
#include "test_meanwhile.moc"

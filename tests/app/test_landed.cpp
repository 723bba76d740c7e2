// SPDX-License-Identifier: MIT
//
// Whether a branch has landed: the dry run, the forecast, the clean-up, the `drift` command and the drift board say the same,
// also where an equal change has landed and was taken back since (whoever replays brings it again).
#include "app/drift/drift_model.h"
#include "app/session/session.h"
#include "app/support/text.h"
#include "core/history/snapshot.h"
#include "core/remotes/clean_up.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <nlohmann/json.hpp>

#include <QSignalSpy>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

using Names = std::vector<std::string>;

std::string text(const std::string& middle) { return "a\nb\nc\nd\ne\n" + middle + "f\ng\nh\ni\nj\n"; }

// A branch of each kind, and a main line that has taken them in its own ways.
struct Scene {
    TempRepository repo;
    std::string root, picked, squash, main;

    Scene()
    {
        root = repo.commitFiles({{"t", text("")}, {"u", "1\n"}, {"r", "1\n"}, {"z", "1\n"}}, "Root", {}, "main");
        const auto t1 = repo.commitFiles({{"t", text("x\n")}}, "One", {root}, "squashed");
        repo.commitFiles({{"t", text("x\ny\n")}}, "Two", {t1}, "squashed");
        repo.commitFiles({{"u", "2\n"}}, "Picked", {root}, "picked");
        repo.commitFiles({{"r", "2\n"}}, "Taken back", {root}, "reverted");
        repo.commitFiles({{"z", "2\n"}}, "By another way", {root}, "nothing-left");
        repo.commitFiles({{"v", "new\n"}}, "Open", {root}, "open");
        const auto half = repo.commitFiles({{"u", "2\n"}}, "Half of it", {root}, "half");
        repo.commitFiles({{"w", "new\n"}}, "The other half", {half}, "half");
        repo.git({"branch", "begun", QString::fromStdString(root)});
        picked = repo.commitFiles({{"u", "2\n"}}, "Picked", {root}, "main");
        squash = repo.commitFiles({{"t", text("x\ny\n")}}, "One and two", {picked}, "main");
        main = repo.commitFiles({{"r", "2\n"}}, "Taken back", {squash}, "main");
        main = repo.commitFiles({{"r", "1\n"}}, "Revert", {main}, "main");
        main = repo.commitFiles({{"z", "2\n"}, {"more", "1\n"}}, "With more", {main}, "main");
        // The main line was merged into it before it landed in one: `git diff main...branch` is the change that landed.
        const auto m1 = repo.commitFiles({{"m", "1\n"}}, "Of its own", {root}, "merged-into");
        const auto merge = repo.commitFiles({{"u", "2\n"}}, "Merge main", {m1, picked}, "merged-into");
        repo.commitFiles({{"m", "1\n2\n"}}, "And more", {merge}, "merged-into");
        main = repo.commitFiles({{"m", "1\n2\n"}}, "All of merged-into", {main}, "main");
        // Only a merge commit is left of it, and that has a change of its own which the main line has not.
        const auto own = repo.commitFiles({{"q", "1\n"}}, "Q", {root}, "only-a-merge");
        main = repo.commitFiles({{"q", "1\n"}}, "Q", {main, own}, "main");
        repo.commitFiles({{"u", "2\n"}, {"hidden", "here only\n"}}, "Merge main", {own, picked}, "only-a-merge");
        main = repo.commitFiles({{"u", "9\n"}, {"t", text("x\ny\nz\n")}}, "And on", {main}, "main");
    }
};

const Names landed{"begun", "merged-into", "nothing-left", "picked", "squashed"};

Names sorted(Names names)
{
    std::ranges::sort(names);
    return names;
}

} // namespace

class TestLanded : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void dryRunTells()
    {
        const Scene scene;
        const Repository opened = scene.repo.open();
        const auto forecast = [&](const std::string& branch) {
            return forecastOf(runOf(opened, planOf(opened, branch, scene.main)));
        };
        QCOMPARE(forecast("picked").kind, Forecast::Landed);
        QCOMPARE(forecast("picked").landed, std::size_t(1));
        QVERIFY(!forecast("picked").landedAs);
        QCOMPARE(forecast("squashed").kind, Forecast::Landed);
        QCOMPARE(forecast("squashed").landedAs.value_or(Oid()).hex(), scene.squash);
        QCOMPARE(forecast("merged-into").kind, Forecast::Landed);
        QVERIFY(forecast("merged-into").landedAs.has_value());
        QCOMPARE(forecast("nothing-left").kind, Forecast::Landed);
        QCOMPARE(forecast("nothing-left").empty, std::size_t(1));
        QCOMPARE(forecast("reverted").kind, Forecast::Clean);
        QCOMPARE(forecast("open").kind, Forecast::Clean);
        QCOMPARE(forecast("half").kind, Forecast::Clean);
        QCOMPARE(forecast("half").landed, std::size_t(1));
    }

    void everyoneSaysTheSame()
    {
        const Scene scene;
        const Repository opened = scene.repo.open();
        const auto snapshot = takeSnapshot(opened);
        QVERIFY(snapshot.has_value());

        const auto found = findCleanUp(opened, *snapshot);
        QVERIFY(found.has_value());
        Names candidates;
        for (const CleanUpCandidate& candidate : *found) {
            QVERIFY(candidate.landed.wholly());
            candidates.push_back(candidate.branch);
        }
        QCOMPARE(sorted(candidates), landed);

        const GitRun told =
            runProgram(QStringLiteral(ESPALIER_PROGRAM), {"drift", scene.repo.path(), "--json"}, scene.repo.path());
        QCOMPARE(told.exitCode, 0);
        Names byCommand;
        for (const auto& row : nlohmann::json::parse(told.out.toStdString())) {
            const std::string outcome = row["forecast"]["outcome"];
            if (outcome == "landed" || outcome == "fast-forward")
                byCommand.push_back(row["ref"].get<std::string>().substr(std::string_view("refs/heads/").size()));
        }
        QCOMPARE(sorted(byCommand), landed);

        Session session;
        QSignalSpy done(&session, &Session::forecastsDone);
        session.open(scene.repo.path());
        QVERIFY(done.wait(60000));
        DriftModel board(&session);
        Names onBoard;
        for (const Ref& ref : session.snapshot()->refs)
            if (ref.kind == RefKind::Branch && session.forecast(ref.name).wholly())
                onBoard.push_back(ref.branch);
        QCOMPARE(sorted(onBoard), landed);
    }
};

QTEST_MAIN(TestLanded)
#include "test_landed.moc"

// SPDX-License-Identifier: MIT
//
// Resolutions that git records (rerere), with git itself as the reference: what a real rebase or merge recorded is found here, and
// what was settled here is what a real rebase uses again.
#include "core/conflicts/commit_conflicts.h"
#include "core/conflicts/git_resolutions.h"
#include "core/history/snapshot.h"
#include "core/settle/compose.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string lines(const std::string& third, const std::string& tenth)
{
    std::string text;
    for (int i = 1; i <= 12; ++i)
        text += (i == 3 ? third : i == 10 ? tenth : "line " + std::to_string(i)) + "\n";
    return text;
}

const std::string bothText = lines("three, of both", "ten, of both");

// A topic and a main line that changed the same two places of a file.
struct Scene {
    explicit Scene(bool on = true)
    {
        repo.git({"config", "rerere.enabled", on ? "true" : "false"});
        repo.git({"config", "user.name", "Mira Sol"});
        repo.git({"config", "user.email", "mira@example.org"});
        base = repo.commitFiles({{"a.txt", lines("three", "ten")}}, "Root", {}, "main");
        repo.commitFiles({{"a.txt", lines("three of topic", "ten of topic")}}, "Both places", {base}, "topic/x");
        // The sides' order by bytes is one way in the first place and the other in the second: git sorts them.
        repo.commitFiles({{"a.txt", lines("three of main", "ten of zero")}}, "Main's", {base}, "main");
        repo.git({"checkout", "--quiet", "topic/x"});
    }
    std::shared_ptr<const DryRun> run(const Settlements& settlements = {}) const
    {
        const Repository opened = repo.open();
        const auto snapshot = takeSnapshot(opened).value();
        PlanOptions options;
        options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
        const auto plan = planBranch(opened, *snapshot, "refs/heads/topic/x", *opened.resolve("main"), "main", options);
        return std::make_shared<const DryRun>(dryRun(opened, plan.value(), settlements).value());
    }
    CommitConflicts conflicts() const { return readConflicts(repo.fsPath().string(), run(), 0, {}).value(); }
    // The hunks of the only file, each settled with "of both".
    static FileSettlement settledOf(const ConflictText& text)
    {
        FileSettlement settled = undecided(text);
        settled.decide(0, {Choice::Typed, "three, of both\n"});
        settled.decide(1, {Choice::Typed, "ten, of both\n"});
        return settled;
    }

    TempRepository repo;
    std::string base;
};

} // namespace

class TestGitResolutions : public QObject {
    Q_OBJECT

    static void compareOffers(const CommitConflicts& read)
    {
        QCOMPARE(read.files.size(), 1u);
        const auto& offers = read.files[0].offers;
        QCOMPARE(offers.size(), 2u);
        QVERIFY(offers[0] && offers[1]);
        QCOMPARE(offers[0]->source, HunkOffer::GitBefore);
        QCOMPARE(offers[0]->decision, (HunkDecision{Choice::Typed, "three, of both\n"}));
        QCOMPARE(offers[1]->decision, (HunkDecision{Choice::Typed, "ten, of both\n"}));
        QVERIFY(offers[0]->when > 0 && offers[0]->name.isZero());
        QVERIFY(offers[0]->reason.contains("git"));
    }

  private Q_SLOTS:
    void whatARebaseRecordedIsOffered()
    {
        Scene scene;
        const std::string tip = scene.repo.git({"rev-parse", "topic/x"});
        QVERIFY(!scene.conflicts().files[0].offers[0]);
        QVERIFY(scene.repo.tryGit({"rebase", "main"}).exitCode != 0);
        scene.repo.writeFile("a.txt", bothText);
        scene.repo.git({"add", "a.txt"});
        scene.repo.git({"-c", "core.editor=true", "rebase", "--continue"});
        scene.repo.git({"reset", "--quiet", "--hard", QString::fromStdString(tip)});
        compareOffers(scene.conflicts());
    }

    // The other way round: the main line came into the topic.
    void whatAMergeRecordedIsOffered()
    {
        Scene scene;
        const std::string tip = scene.repo.git({"rev-parse", "topic/x"});
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        scene.repo.writeFile("a.txt", bothText);
        scene.repo.git({"commit", "--quiet", "--all", "--message", "Merged"});
        scene.repo.git({"reset", "--quiet", "--hard", QString::fromStdString(tip)});
        compareOffers(scene.conflicts());
        // Not where git is not to use it.
        scene.repo.git({"config", "rerere.enabled", "false"});
        QVERIFY(!scene.conflicts().files[0].offers[0]);
        // Where nothing is said, the folder says it.
        scene.repo.git({"config", "--unset", "rerere.enabled"});
        compareOffers(scene.conflicts());
    }

    void whatIsAroundTheHunksMayHaveChanged()
    {
        Scene scene;
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        scene.repo.writeFile("a.txt", bothText);
        scene.repo.git({"commit", "--quiet", "--all", "--message", "Merged"});
        scene.repo.git({"reset", "--quiet", "--hard", "topic/x~1"});
        std::string moved = lines("three of main", "ten of zero");
        moved = "zero\n" + moved.replace(moved.find("line 6"), 6, "line six");
        scene.repo.commitFiles({{"a.txt", moved}}, "Around", {scene.repo.git({"rev-parse", "main"})}, "main");
        compareOffers(scene.conflicts());
    }

    void aRebaseUsesWhatWasSettledHere()
    {
        Scene scene;
        const CommitConflicts read = scene.conflicts();
        const ConflictText& text = read.files[0].text;
        const Settlements settlements = Settlements().with(text.key, Scene::settledOf(text));
        const auto run = scene.run(settlements);
        QVERIFY(run->clean);
        QVERIFY(recordResolutions(scene.repo.open(), *run, settlements));
        const GitRun rebase = scene.repo.tryGit({"rebase", "main"});
        QVERIFY(rebase.exitCode != 0);
        QVERIFY2((rebase.out + rebase.err).contains("Resolved 'a.txt' using previous resolution"),
                 (rebase.out + rebase.err).constData());
        QCOMPARE(scene.repo.readFile("a.txt"), bothText);
        scene.repo.git({"rebase", "--abort"});
        // And the other way round.
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        QCOMPARE(scene.repo.readFile("a.txt"), bothText);
    }

    void whatGitHasStays()
    {
        Scene scene;
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        scene.repo.writeFile("a.txt", lines("three, git's", "ten, git's"));
        scene.repo.git({"commit", "--quiet", "--all", "--message", "Merged"});
        scene.repo.git({"reset", "--quiet", "--hard", "HEAD~1"});
        const Repository opened = scene.repo.open();
        const auto before = folderState(opened.commonDir() / "rr-cache");
        const CommitConflicts read = scene.conflicts();
        const ConflictText& text = read.files[0].text;
        const auto done = GitResolutions(opened).record(text, bothText);
        QVERIFY(done && !*done);
        QCOMPARE(folderState(opened.commonDir() / "rr-cache"), before);
    }

    // A conflict that git met and that was settled here, not there.
    void whatGitWaitsForIsCompleted()
    {
        Scene scene;
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        const CommitConflicts read = scene.conflicts();
        const ConflictText& text = read.files[0].text;
        const Repository opened = scene.repo.open();
        const auto image = conflictImage(text);
        QVERIFY(image);
        const auto folder = opened.commonDir() / "rr-cache" / image->name.hex();
        QFile preimage(QString::fromStdString((folder / "preimage").string()));
        QVERIFY(preimage.open(QIODevice::ReadOnly)); // git names it so too
        QCOMPARE(preimage.readAll().toStdString(), image->bytes);
        QVERIFY(*GitResolutions(opened).record(text, bothText));
        QVERIFY(!std::filesystem::exists(folder / "preimage.1"));
        scene.repo.git({"merge", "--abort"});
        QVERIFY(scene.repo.tryGit({"merge", "main"}).exitCode != 0);
        QCOMPARE(scene.repo.readFile("a.txt"), bothText);
    }

    void nothingIsWrittenWhereItIsOff()
    {
        Scene scene(false);
        const CommitConflicts read = scene.conflicts();
        const Repository opened = scene.repo.open();
        QVERIFY(!*GitResolutions(opened).record(read.files[0].text, bothText));
        QVERIFY(!std::filesystem::exists(opened.commonDir() / "rr-cache"));
    }

    void hunksOfASettledFile_data()
    {
        QTest::addColumn<QStringList>("between");
        QTest::addColumn<QByteArray>("settled");
        QTest::addColumn<QStringList>("hunks"); // "?": not known
        const QStringList two{"a\n", "b\nc\n", "d\n"};
        QTest::newRow("plain") << two << QByteArray("a\n1\nb\nc\n2\nd\n") << QStringList{"1\n", "2\n"};
        QTest::newRow("one left out") << two << QByteArray("a\nb\nc\n2\nd\n") << QStringList{"", "2\n"};
        QTest::newRow("edited far off") << QStringList{"x\na\n", "b\nc\n", "d\n"} << QByteArray("y\na\n1\nb\nc\n2\nd\n")
                                        << QStringList{"1\n", "2\n"};
        QTest::newRow("edited beside one") << two << QByteArray("a\n1\nB\nc\n2\nd\n") << QStringList{"?", "2\n"};
        QTest::newRow("at both ends") << QStringList{"", "b\n", ""} << QByteArray("1\nb\n2") << QStringList{"1\n", "2"};
        QTest::newRow("nothing between") << QStringList{"a\n", "", "d\n"} << QByteArray("a\n1\n2\nd\n")
                                         << QStringList{"?", "?"};
    }
    void hunksOfASettledFile()
    {
        QFETCH(const QStringList, between);
        QFETCH(const QByteArray, settled);
        QFETCH(const QStringList, hunks);
        std::vector<std::string> stretches;
        for (const QString& stretch : between)
            stretches.push_back(stretch.toStdString());
        QStringList found;
        for (const auto& hunk : hunksIn(stretches, settled.toStdString()))
            found << (hunk ? QString::fromStdString(*hunk) : QStringLiteral("?"));
        QCOMPARE(found, hunks);
    }
};

QTEST_GUILESS_MAIN(TestGitResolutions)
#include "test_git_resolutions.moc"

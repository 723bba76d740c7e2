// SPDX-License-Identifier: MIT
//
// Dry runs: outcomes, trees and ids. Reference: git's merge-tree with explicit bases, commit-tree, hash-object.
#include "core/conflicts/conflict_text.h"
#include "core/history/snapshot.h"
#include "core/replay/batch.h"
#include "core/replay/json.h"
#include "core/replay/rewrite.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <random>
#include <semaphore>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return *Oid::parse(hex); }
std::string numbered(int from, int to, const std::map<int, std::string>& changed = {})
{
    std::string text;
    for (int i = from; i <= to; ++i)
        text += (changed.contains(i) ? changed.at(i) : std::to_string(i)) + "\n";
    return text;
}

std::vector<std::string> outcomes(const DryRun& run)
{
    std::vector<std::string> list;
    for (const ReplayedCommit& commit : run.commits)
        list.emplace_back(outcomeName(commit.outcome));
    return list;
}

using Strings = std::vector<std::string>;

// Bytes of a file of the dry run's result.
std::string fileOf(const DryRun& run, const TempRepository& repo, const std::string& path)
{
    const Repository opened = repo.open();
    if (auto written = writeObjects(opened, *run.objects); !written)
        qFatal("%s", written.error().line().c_str());
    return repo.tryGit({"cat-file", "blob", QString::fromStdString(run.newTree->hex() + ":" + path)}).out.toStdString();
}

} // namespace

class TestDryRun : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void cleanAsThePlumbingHasIt()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"d/f", numbered(1, 30)}, {"g", "g\n"}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"d/f", numbered(1, 30, {{2, "two"}})}}, "Main", {root}, "main");
        const std::string a =
            repo.commitFiles({{"d/f", numbered(1, 30, {{20, "twenty"}})}}, "First\n\nBody.\n", {root}, "topic");
        const std::string b = repo.commitFiles({{"g", std::nullopt}, {"exe:h", "h\n"}}, "Second", {a}, "topic");
        const auto before = folderState(repo.fsPath());
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", main));
        QCOMPARE(folderState(repo.fsPath()), before); // not a byte
        QVERIFY(run.clean);
        QCOMPARE(outcomes(run), (Strings{"clean", "clean"}));
        QCOMPARE(run.commits[1].files, (Strings{"g", "h"}));
        // Source: git merge-tree --write-tree with explicit bases, git commit-tree.
        std::string parent = main;
        for (const auto& [commit, base] : {std::pair(a, root), std::pair(b, a)}) {
            const std::string tree =
                repo.git({"merge-tree", "--write-tree", QString::fromStdString("--merge-base=" + base),
                          QString::fromStdString(parent), QString::fromStdString(commit)});
            std::string raw = repo.readRaw("commit", commit);
            raw.replace(5, 40, tree);
            raw.replace(raw.find("parent ") + 7, 40, parent);
            const std::size_t committer = raw.find("\ncommitter ") + 1;
            raw.replace(committer, raw.find('\n', committer) - committer,
                        "committer Ada Quill <ada@example.org> 1700000500 +0100");
            parent = repo.writeRaw("commit", raw);
        }
        QCOMPARE(run.newTip->hex(), parent);
        const Result<Rewrite> rewrite = makeRewrite(run);
        QVERIFY(rewrite);
        QCOMPARE(rewrite->title, std::string("Replay topic onto main"));
        QCOMPARE(rewrite->moves, (std::vector<RefMove>{{"refs/heads/topic", oid(b), *run.newTip}}));
        QCOMPARE(rewrite->pairs.size(), 2u);
        QVERIFY(writeObjects(opened, *rewrite->objects));
        QCOMPARE(repo.tryGit({"fsck", "--strict", "--no-dangling"}).exitCode, 0);
    }

    void keepsBytes()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n"}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"m", "1\n"}}, "Main", {root}, "main");
        const std::string made = repo.commitFiles({{"t", "1\n"}}, "Topic", {root});
        const std::string tree = repo.readRaw("commit", made).substr(5, 40);
        const std::string author = "author J\xf6rg  Q <j@example.org> 1234567890 -0730\n";
        const std::string committer = "committer Old <old@example.org> 1234567891 +0000\n";
        const std::string message = "\n\nGr\xfc\xdf"
                                    "e, no line end  ";
        const std::string commit =
            repo.writeRaw("commit", "tree " + tree + "\nparent " + root + "\n" + author + committer +
                                        "encoding ISO-8859-1\nX-extra x\ngpgsig -----BEGIN\n "
                                        "abc\n -----END\n" +
                                        message);
        repo.git({"update-ref", "refs/heads/topic", QString::fromStdString(commit)});
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", main));
        QVERIFY(run.clean);
        QVERIFY(run.commits[0].losesSignature);
        QCOMPARE(QString::fromStdString(run.commits[0].subject), QString("Grüße, no line end"));
        // Every other byte stays; the encoding becomes UTF-8 as a whole, as git rebase has it (see test_encodings).
        const std::string expected = "tree " + run.newTree->hex() + "\nparent " + main +
                                     "\nauthor Jörg  Q <j@example.org> 1234567890 -0730\n"
                                     "committer Ada Quill <ada@example.org> 1700000500 +0100\nX-extra x\n"
                                     "\n\nGrüße, no line end  ";
        QCOMPARE(*run.objects->find(*run.newTip)->bytes, expected);
    }

    void unchangedPrefixKeepsIds()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n"}}, "Root", {}, "main");
        const std::string a = repo.commitFiles({{"a", "1\n"}}, "A", {root}, "topic");
        const std::string b = repo.commitFiles({{"b", "1\n"}}, "B", {a}, "topic");
        const std::string c = repo.commitFiles({{"c", "1\n"}}, "C", {b}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", root);
        const DryRun same = runOf(opened, plan);
        QCOMPARE(outcomes(same), (Strings{"unchanged", "unchanged", "unchanged"}));
        QCOMPARE(same.newTip->hex(), c);
        QCOMPARE(same.objects->count(), 0u);
        QCOMPARE(forecastOf(same).kind, Forecast::Nothing);
        const DryRun reworded = runOf(opened, *withMessage(plan, 1, "New B"));
        QCOMPARE(outcomes(reworded), (Strings{"unchanged", "clean", "clean"}));
        QCOMPARE(reworded.commits[0].newId->hex(), a);
        QVERIFY(reworded.objects->find(*reworded.commits[1].newId)->view().ends_with("\n\nNew B\n"));
        QCOMPARE(reworded.newTree->hex(), repo.git({"rev-parse", QString::fromStdString(c + "^{tree}")}));
    }

    void landedEmptyAndSquashed()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 30)}}, "Root", {}, "main");
        const std::string a = repo.commitFiles({{"f", numbered(1, 30, {{5, "five"}})}}, "A", {root}, "topic");
        const std::string b = repo.commitFiles({{"g", "g\n"}}, "B", {a}, "topic");
        const std::string c = repo.commitFiles({{"h", "h\n"}, {"i", "i\n"}}, "C", {b}, "topic");
        // A landed, and its line was changed further; half of C is there by another commit, and then the rest.
        const std::string m1 = repo.commitFiles({{"f", numbered(1, 30, {{5, "five"}})}}, "Other words", {root}, "main");
        const std::string m2 = repo.commitFiles({{"f", numbered(1, 30, {{5, "FIVE"}})}}, "Further", {m1}, "main");
        const std::string m3 = repo.commitFiles({{"h", "h\n"}}, "Half", {m2}, "main");
        const std::string m4 = repo.commitFiles({{"i", "i\n"}}, "Rest", {m3}, "main");
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", m4));
        QCOMPARE(outcomes(run), (Strings{"landed", "clean", "empty"}));
        QCOMPARE(run.commits[0].landedAs->hex(), m1);
        QVERIFY(!run.commits[0].newId && !run.commits[2].newId);
        QVERIFY(run.clean);
        PlanOptions blind;
        blind.detectLanded = false;
        QCOMPARE(outcomes(runOf(opened, planOf(opened, "topic", m4, blind))), (Strings{"conflict", "clean", "empty"}));
        // The same two commits as one.
        const std::string s =
            repo.commitFiles({{"f", numbered(1, 30, {{5, "five"}})}, {"g", "g\n"}}, "Squash", {root}, "squashed");
        const std::string t =
            repo.commitFiles({{"f", numbered(1, 30, {{5, "6"}})}, {"g", "G\n"}}, "On", {s}, "squashed");
        repo.git({"update-ref", "refs/heads/two", QString::fromStdString(b)});
        for (const std::string& onto : {s, t}) {
            const DryRun squashed = runOf(opened, planOf(opened, "two", onto));
            QCOMPARE(outcomes(squashed), (Strings{"landed", "landed"}));
            QCOMPARE(squashed.commits[1].landedAs->hex(), s);
            QCOMPARE(squashed.newTip->hex(), onto);
            QCOMPARE(forecastOf(squashed).kind, Forecast::Landed);
        }
        // Of the squash something was taken back since, which the topic would bring again: that is not landed today.
        const std::string tail = repo.commitFiles({{"g", numbered(1, 30)}}, "Base", {root}, "partly");
        const std::string one = repo.commitFiles({{"f", numbered(1, 30, {{5, "five"}})}}, "One", {tail}, "partly");
        repo.commitFiles({{"g", numbered(1, 30, {{2, "two"}, {20, "twenty"}})}}, "Two", {one}, "partly");
        const std::string both = repo.commitFiles(
            {{"f", numbered(1, 30, {{5, "five"}})}, {"g", numbered(1, 30, {{2, "two"}, {20, "twenty"}})}}, "Both",
            {tail}, "moved");
        const std::string back = repo.commitFiles(
            {{"f", numbered(1, 30, {{5, "6"}})}, {"g", numbered(1, 30, {{20, "twenty"}})}}, "Back", {both}, "moved");
        QCOMPARE(outcomes(runOf(opened, planOf(opened, "partly", back))), (Strings{"conflict", "clean"}));
    }

    void conflictThenSettled_data()
    {
        QTest::addColumn<int>("choice");
        QTest::addColumn<QByteArray>("line");
        QTest::newRow("new base") << int(Choice::NewBase) << QByteArray("N\n");
        QTest::newRow("your commit") << int(Choice::YourCommit) << QByteArray("Y\n");
        QTest::newRow("new base first") << int(Choice::NewBaseFirst) << QByteArray("N\nY\n");
        QTest::newRow("yours first") << int(Choice::YourCommitFirst) << QByteArray("Y\nN\n");
        QTest::newRow("typed") << int(Choice::Typed) << QByteArray("both\n");
    }
    void conflictThenSettled()
    {
        QFETCH(int, choice);
        QFETCH(QByteArray, line);
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Main", {root}, "main");
        const std::string a = repo.commitFiles({{"f", numbered(1, 20, {{5, "Y"}})}}, "A", {root}, "topic");
        const std::string b = repo.commitFiles({{"f", numbered(1, 20, {{5, "Y"}, {15, "later"}})}}, "B", {a}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun run = runOf(opened, plan);
        QVERIFY(!run.clean && !run.newTip && !run.newTree);
        QCOMPARE(outcomes(run), (Strings{"conflict", "clean"}));
        QVERIFY(!run.commits[0].newId && !run.commits[1].newId);
        QVERIFY(run.commits[1].dependsOn.empty());
        QCOMPARE(run.firstConflict(), 0u);
        QCOMPARE(run.undecided(), 1u);
        QCOMPARE(run.commits[0].conflicts[0].path.path, std::string("f"));
        QVERIFY(!makeRewrite(run));
        const auto text = conflictText(opened, run, 0, 0);
        QVERIFY(text);
        QCOMPARE(text->hunks.size(), 1u);
        QCOMPARE(text->hunks[0].newBaseText, std::string("N\n"));
        QCOMPARE(text->hunks[0].commitText, std::string("Y\n"));
        QCOMPARE(text->hunks[0].ancestorText, std::string("5\n"));
        FileSettlement file = undecided(*text);
        QVERIFY(!file.decided());
        file.decide(0, {Choice(choice), "both\n"});
        const DryRun settled = runOf(opened, plan, Settlements().with(text->key, file));
        QVERIFY(settled.clean);
        const std::string head = settledText(*text, file);
        const std::string expected =
            numbered(1, 4) + line.toStdString() + numbered(6, 14) + "later\n" + numbered(16, 20);
        QCOMPARE(head, numbered(1, 4) + line.toStdString() + numbered(6, 20));
        QCOMPARE(fileOf(settled, repo, "f"), expected);
        QCOMPARE(settled.commits[0].conflicts[0].undecided, 0u);
        QCOMPARE(outcomes(settled)[0], std::string(Choice(choice) == Choice::NewBase ? "empty" : "clean"));
        // The same by one answer for all.
        if (Choice(choice) != Choice::Typed)
            QCOMPARE(runOf(opened, plan, Settlements().withDefault(Choice(choice))).newTip, settled.newTip);
        // A settlement is for its inputs: made for others, only its decisions on hunks that are the same hold.
        file.blobs.newBase = file.blobs.commit;
        QCOMPARE(runOf(opened, plan, Settlements().with(text->key, file)).newTip, settled.newTip);
        std::get<SettledHunk>(file.pieces[1]).texts = file.blobs.commit;
        const DryRun other = runOf(opened, plan, Settlements().with(text->key, file));
        QVERIFY(!other.clean);
        QCOMPARE(other.commits[0].conflicts[0].again, 1u);
    }

    // What is typed outside the hunks decides nothing, and what is undecided below an edit is still followed.
    void editsOutsideTheHunks()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 40)}}, "Root", {}, "main");
        const std::string main =
            repo.commitFiles({{"f", numbered(1, 40, {{5, "N"}, {20, "M"}})}}, "Main", {root}, "main");
        const std::string a = repo.commitFiles({{"f", numbered(1, 40, {{5, "Y"}})}}, "A", {root}, "topic");
        const std::string b = repo.commitFiles({{"f", numbered(1, 40, {{5, "Y"}, {20, "Z"}})}}, "B", {a}, "topic");
        repo.commitFiles({{"f", numbered(1, 40, {{5, "YY"}, {20, "Z"}})}}, "C", {b}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun run = runOf(opened, plan);
        QCOMPARE(outcomes(run), (Strings{"conflict", "conflict", "clean"}));
        QCOMPARE(run.commits[2].dependsOn, std::vector<std::size_t>{0});
        const auto edited = [&](std::size_t commit) {
            const auto text = conflictText(opened, run, commit, 0);
            FileSettlement made = undecided(*text);
            const std::string& was = text->between.back();
            std::get<SettledStretch>(made.pieces.back()).edit = StretchEdit{was, was + "typed\n"};
            return std::pair(text->key, made);
        };
        const auto [first, firstMade] = edited(0);
        const DryRun typed = runOf(opened, plan, Settlements().with(first, firstMade));
        QVERIFY(!typed.clean);
        QCOMPARE(typed.undecided(), run.undecided());
        QCOMPARE(typed.commits[0].conflicts[0].again, 0u);
        // Typed in the second commit, over what the first one left open: the third still waits for the first.
        auto [second, secondMade] = edited(1);
        secondMade.decide(0, {Choice::YourCommit, {}});
        const DryRun below = runOf(opened, plan, Settlements().with(second, secondMade));
        QCOMPARE(below.undecided(), 1u);
        QCOMPARE(below.commits[2].dependsOn, std::vector<std::size_t>{0});
    }

    void dependsOnHeldLines()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 40)}, {"x", "x\n"}}, "Root", {}, "main");
        const std::string main =
            repo.commitFiles({{"f", numbered(1, 40, {{5, "N"}, {30, "M"}})}}, "Main", {root}, "main");
        std::map<int, std::string> lines{{5, "Y"}};
        std::string at = root;
        const auto commit = [&](const std::string& subject) {
            at = repo.commitFiles({{"f", numbered(1, 40, lines)}}, subject, {at}, "topic");
        };
        commit("Conflicts");
        lines[15] = "elsewhere";
        commit("Elsewhere");
        lines[5] = "YY\nmore";
        commit("Touches");
        lines[30] = "own";
        commit("Conflicts by itself");
        lines[4] = "edge";
        commit("At the edge");
        at = repo.commitFiles({{"x", "y\n"}}, "Other file", {at}, "topic");
        const Repository opened = repo.open();
        const DryRun run = runOf(opened, planOf(opened, "topic", main));
        QCOMPARE(outcomes(run), (Strings{"conflict", "clean", "clean", "conflict", "clean", "clean"}));
        using Indices = std::vector<std::size_t>;
        QCOMPARE(run.commits[1].dependsOn, Indices{});
        QCOMPARE(run.commits[2].dependsOn, Indices{0});
        QCOMPARE(run.commits[3].dependsOn, Indices{});
        QCOMPARE(run.commits[4].dependsOn, Indices{0});
        QCOMPARE(run.commits[5].dependsOn, Indices{});
        const auto json = nlohmann::json::parse(dryRunJson(run));
        QCOMPARE(json["commits"][2]["dependsOn"][0].get<std::string>(), run.commits[0].id.hex());
        QVERIFY(json["commits"][2]["newId"].is_null() && json["newTip"].is_null());
    }

    void wholePaths()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles(
            {{"a", numbered(1, 9)}, {"d/b", numbered(1, 9)}, {"bin", std::string("\0one", 4)}}, "Root", {}, "main");
        const std::string main = repo.commitFiles(
            {{"a", std::nullopt}, {"d/b", numbered(1, 9, {{3, "N"}})}, {"bin", std::string("\0two", 4)}}, "Main",
            {root}, "main");
        repo.commitFiles({{"a", numbered(1, 9, {{3, "Y"}})}, {"d/b", std::nullopt}, {"bin", std::string("\0six", 4)}},
                         "A", {root}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun run = runOf(opened, plan);
        QCOMPARE(run.commits[0].conflicts.size(), 3u);
        Strings kinds;
        for (const Conflict& conflict : run.commits[0].conflicts) {
            kinds.emplace_back(conflictKindName(conflict.path.kind));
            QCOMPARE(conflict.hunks, 1u);
        }
        QCOMPARE(kinds, (Strings{"deleted-by-new-base", "binary", "deleted-by-commit"}));
        const auto text = conflictText(opened, run, 0, 0);
        QVERIFY(text && text->wholePath && text->hunks.empty());
        QCOMPARE(text->explanation, std::string("The new base deleted this file; your commit changes it"));
        const DryRun yours = runOf(opened, plan, Settlements().withDefault(Choice::YourCommit));
        QVERIFY(yours.clean);
        QCOMPARE(yours.newTree->hex(), repo.git({"rev-parse", "topic^{tree}"}));
        const DryRun base = runOf(opened, plan, Settlements().withDefault(Choice::NewBase));
        QCOMPARE(outcomes(base), Strings{"empty"});
        QCOMPARE(base.newTip->hex(), main);
        // There is no place for typed text: it decides nothing.
        FileSettlement typed = undecided(*text);
        typed.decide(0, {Choice::Typed, "typed"});
        QVERIFY(!runOf(opened, plan, Settlements().with(text->key, typed)).clean);
    }

    void pathsInTwoPlaces_data()
    {
        // What the user's side and the new base make of the same beginning, and the files of each side's answer.
        using Names = QStringList;
        QTest::addColumn<Files>("newBase");
        QTest::addColumn<Files>("commit");
        QTest::addColumn<Names>("keepNewBase");
        QTest::addColumn<Names>("keepCommit");
        const std::string f = numbered(1, 30), a = numbered(40, 60), b = numbered(70, 90);
        QTest::newRow("renamed twice") << Files{{"f", std::nullopt}, {"n", f}} << Files{{"f", std::nullopt}, {"y", f}}
                                       << Names{"d/a", "d/b", "n"} << Names{"d/a", "d/b", "y"};
        QTest::newRow("folder renamed by the new base")
            << Files{{"d/a", std::nullopt}, {"d/b", std::nullopt}, {"e/a", a}, {"e/b", b}} << Files{{"d/c", "c\n"}}
            << Names{"e/a", "e/b", "e/c", "f"} << Names{"d/c", "e/a", "e/b", "f"};
        QTest::newRow("renamed and deleted") << Files{{"f", std::nullopt}} << Files{{"f", std::nullopt}, {"y", f}}
                                             << Names{"d/a", "d/b"} << Names{"d/a", "d/b", "y"};
        QTest::newRow("file and folder") << Files{{"p", "file\n"}} << Files{{"p/q", "folder\n"}}
                                         << Names{"d/a", "d/b", "f", "p"} << Names{"d/a", "d/b", "f", "p/q"};
        QTest::newRow("folder and file") << Files{{"p/q", "folder\n"}} << Files{{"p", "file\n"}}
                                         << Names{"d/a", "d/b", "f", "p/q"} << Names{"d/a", "d/b", "f", "p"};
        QTest::newRow("link and file") << Files{{"link:p", "f"}} << Files{{"p", "file\n"}}
                                       << Names{"d/a", "d/b", "f", "p"} << Names{"d/a", "d/b", "f", "p"};
    }
    void pathsInTwoPlaces()
    {
        QFETCH(Files, newBase);
        QFETCH(Files, commit);
        QFETCH(QStringList, keepNewBase);
        QFETCH(QStringList, keepCommit);
        TempRepository repo;
        const std::string root = repo.commitFiles(
            {{"f", numbered(1, 30)}, {"d/a", numbered(40, 60)}, {"d/b", numbered(70, 90)}}, "Root", {}, "main");
        const std::string main = repo.commitFiles(newBase, "Main", {root}, "main");
        repo.commitFiles(commit, "A", {root}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        QVERIFY(!runOf(opened, plan).clean);
        for (const auto& [choice, names] :
             {std::pair(Choice::NewBase, keepNewBase), {Choice::YourCommit, keepCommit}}) {
            const DryRun run = runOf(opened, plan, Settlements().withDefault(choice));
            QVERIFY(run.clean);
            QVERIFY(writeObjects(opened, *run.objects));
            const auto listed = repo.git({"ls-tree", "-r", "--name-only", QString::fromStdString(run.newTree->hex())});
            QCOMPARE(QString::fromStdString(listed).split('\n'), names);
            QCOMPARE(repo.tryGit({"fsck", "--strict", "--no-dangling"}).exitCode, 0);
        }
    }

    void foldsLeavesOutReorders()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n"}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"m", "1\n"}}, "Main", {root}, "main");
        const std::string a = repo.commitFiles({{"a", "1\n"}}, "A\n\nBody", {root}, "low");
        const std::string b = repo.commitFiles({{"b", "1\n"}}, "B", {a}, "topic");
        repo.commitFiles({{"c", "1\n"}}, "C", {b}, "topic");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened, "topic", main);
        const DryRun folded = runOf(opened, *withTreatment(plan, 1, Treatment::Fold));
        QVERIFY(folded.clean);
        QCOMPARE(folded.commits[0].newId, folded.commits[1].newId);
        QVERIFY(folded.objects->find(*folded.commits[0].newId)->view().ends_with("\n\nA\n\nBody\n\nB"));
        QCOMPARE(folded.newTree, runOf(opened, plan).newTree);
        QCOMPARE(folded.stackedTips,
                 (std::vector<std::pair<std::string, Oid>>{{"refs/heads/low", *folded.commits[0].newId}}));
        const DryRun quiet = runOf(opened, *withTreatment(plan, 1, Treatment::FoldQuietly));
        QVERIFY(quiet.objects->find(*quiet.commits[0].newId)->view().ends_with("\n\nA\n\nBody"));
        const DryRun without = runOf(opened, *withTreatment(plan, 0, Treatment::LeaveOut));
        QCOMPARE(without.stackedTips[0].second.hex(), main);
        QVERIFY(!without.commits[0].newId);
        QCOMPARE(fileOf(without, repo, "a"), std::string());
        QCOMPARE(fileOf(without, repo, "c"), std::string("1\n"));
        QCOMPARE(runOf(opened, *withMoved(plan, 2, 0)).newTree, runOf(opened, plan).newTree);
        QCOMPARE(makeRewrite(folded)->moves.size(), 2u);
        QCOMPARE(makeRewrite(folded)->pairs.size(), 3u);
    }

    void mergesKeptOrFlattened()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"f", numbered(1, 20, {{18, "M"}})}}, "Main", {root}, "main");
        const std::string a = repo.commitFiles({{"f", numbered(1, 20, {{5, "A"}})}}, "A", {root});
        const std::string b = repo.commitFiles({{"f", numbered(1, 20, {{5, "B"}})}}, "B", {root});
        // Settled by hand, and with a change of its own.
        const std::string merge =
            repo.commitFiles({{"f", numbered(1, 20, {{5, "A and B"}})}, {"own", "o\n"}}, "Merge", {a, b}, "topic");
        const std::string top = repo.commitFiles({{"t", "1\n"}}, "Top", {merge}, "topic");
        const Repository opened = repo.open();
        PlanOptions keep;
        keep.merges = MergeCommits::Keep;
        const Plan plan = planOf(opened, "topic", main, keep);
        QCOMPARE(plan.commits.size(), 4u);
        const DryRun kept = runOf(opened, plan);
        QVERIFY(kept.clean);
        QCOMPARE(fileOf(kept, repo, "f"), numbered(1, 20, {{5, "A and B"}, {18, "M"}}));
        QCOMPARE(fileOf(kept, repo, "own"), std::string("o\n"));
        QCOMPARE(repo.git({"rev-list", "--count", QString::fromStdString(main + ".." + kept.newTip->hex())}), "4");
        QCOMPARE(
            repo.git({"rev-list", "--merges", "--count", QString::fromStdString(main + ".." + kept.newTip->hex())}),
            "1");
        const DryRun same = runOf(opened, planOf(opened, "topic", root, keep));
        QCOMPARE(same.newTip->hex(), top);
        const DryRun flat = runOf(opened, planOf(opened, "topic", main));
        QCOMPARE(outcomes(flat), (Strings{"clean", "conflict", "clean"}));
    }

    void randomTopicsAgainstMergeTree()
    {
        std::mt19937 random(7);
        for (int round = 0; round < 12; ++round) {
            TempRepository repo;
            std::map<int, std::string> mine, theirs;
            const std::string root = repo.commitFiles({{"f", numbered(1, 60)}, {"g", "g\n"}}, "Root", {}, "main");
            std::string main = root, topic = root;
            Strings commits;
            for (int i = 0; i < 4; ++i) {
                theirs[1 + int(random() % 60)] = "n" + std::to_string(i);
                main = repo.commitFiles({{"f", numbered(1, 60, theirs)}}, "Main", {main}, "main");
                mine[1 + int(random() % 60)] = "y" + std::to_string(i);
                topic = repo.commitFiles({{"f", numbered(1, 60, mine)}}, "Topic", {topic}, "topic");
                commits.push_back(topic);
            }
            const Repository opened = repo.open();
            const DryRun run = runOf(opened, planOf(opened, "topic", main));
            std::string tree = main, base = root;
            for (std::size_t i = 0; i < commits.size(); ++i) {
                // Source: git merge-tree --write-tree with an explicit base, commit after commit.
                const GitRun merged = repo.tryGit({"merge-tree", "--write-tree", "--name-only", "--no-messages",
                                                   QString::fromStdString("--merge-base=" + base),
                                                   QString::fromStdString(tree), QString::fromStdString(commits[i])});
                const QStringList told = QString::fromUtf8(merged.out).split('\n', Qt::SkipEmptyParts);
                QCOMPARE(run.commits[i].outcome == Outcome::Conflict, merged.exitCode == 1);
                QCOMPARE(int(run.commits[i].conflicts.size()), int(told.size()) - 1);
                if (merged.exitCode != 0)
                    break;
                QCOMPARE(run.commits[i].newTree->hex(), told[0].toStdString());
                tree = repo.git({"commit-tree", "-p", QString::fromStdString(main), "-m", "x", told[0]});
                base = commits[i];
            }
        }
    }

    void batchesKeepTheirOrder()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}}, "Root", {}, "main");
        const std::string main = repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Main", {root}, "main");
        std::vector<BatchLine> lines;
        for (int i = 1; i <= 20; ++i)
            lines.push_back({repo.commitFiles({{"f", numbered(1, 20, {{i, "Y"}})}}, "Topic", {root}), main});
        lines.push_back({"no-such", main});
        lines.push_back({main, main});
        lines.push_back({root, "main"});
        const Repository opened = repo.open();
        std::vector<std::string> texts[2];
        for (const unsigned threads : {1u, 3u}) {
            BatchOptions options;
            options.committer = dryRunCommitter;
            std::size_t at = 0;
            const auto next = [&]() -> std::optional<BatchLine> {
                return at < lines.size() ? std::optional(lines[at++]) : std::nullopt;
            };
            const auto done = runBatch(
                opened, threads, next,
                [&](const BatchAnswer& answer) { texts[threads > 1].push_back(batchJson(answer)); }, options);
            QVERIFY(done);
        }
        QCOMPARE(texts[0], texts[1]);
        QCOMPARE(texts[0].size(), lines.size());
        for (std::size_t i = 0; i < 20; ++i) {
            const auto json = nlohmann::json::parse(texts[0][i]);
            QCOMPARE(json["tip"].get<std::string>(), lines[i].tip);
            QVERIFY(json["branch"].is_null());
            QCOMPARE(json["mergeBase"].get<std::string>(), root);
            QCOMPARE(json["clean"].get<bool>(), i + 1 < 4 || i + 1 > 6);
        }
        QVERIFY(nlohmann::json::parse(texts[0][20]).contains("error"));
        for (const std::size_t i : {21u, 22u}) {
            const auto json = nlohmann::json::parse(texts[0][i]);
            QVERIFY(json["clean"].get<bool>() && json["commits"].empty());
            QCOMPARE(json["newTip"].get<std::string>(), main);
        }
    }

    // Whoever decides by an answer what to ask next gets it, however many threads there are.
    void batchesAnswerBeforeTheNextLine()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n"}}, "Root", {}, "main");
        const Repository opened = repo.open();
        for (const unsigned threads : {1u, 3u}) {
            std::counting_semaphore answered{0};
            int asked = 0, given = 0;
            const auto next = [&]() -> std::optional<BatchLine> {
                if (asked > 0)
                    answered.acquire();
                return asked++ < 9 ? std::optional(BatchLine{root, root}) : std::nullopt;
            };
            const auto done = runBatch(opened, threads, next, [&](const BatchAnswer&) {
                ++given;
                answered.release();
            });
            QVERIFY(done);
            QCOMPARE(given, 9);
        }
    }

    void batchesCanBeStopped()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n"}}, "Root", {}, "main");
        const Repository opened = repo.open();
        for (const unsigned threads : {1u, 3u}) {
            std::stop_source source;
            int asked = 0;
            const auto next = [&]() -> std::optional<BatchLine> {
                return ++asked < 1000 ? std::optional(BatchLine{root, root}) : std::nullopt;
            };
            const auto done = runBatch(opened, threads, next, [&](const BatchAnswer&) { source.request_stop(); }, {},
                                       {source.get_token(), {}});
            QVERIFY(!done);
            QCOMPARE(done.error().kind, ErrorKind::Cancelled);
            QVERIFY(asked < 1000);
        }
    }
};

QTEST_GUILESS_MAIN(TestDryRun)
#include "test_dry_run.moc"

// SPDX-License-Identifier: MIT
//
// What a forced update does, commit by commit and as a whole, and what else stands on the old commits; compared with what
// git says of the same histories.
#include "core/history/snapshot.h"
#include "core/remotes/branch_difference.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/stands_on.h"
#include "tests/support/remote_scene.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

QString text(const std::string& bytes) { return QString::fromStdString(bytes); }

std::string numbered(const std::map<int, std::string>& instead = {}, int lines = 80)
{
    std::string all;
    for (int line = 1; line <= lines; ++line) {
        const auto found = instead.find(line);
        all += (found == instead.end() ? "line " + std::to_string(line) : found->second) + "\n";
    }
    return all;
}

// A scene with upstream's main line and a branch `topic/y` in two versions: `before` on the fork, `now` in the clone.
struct Versions {
    RemoteScene scene;
    std::string base, main, before, now;

    Versions()
    {
        base = scene.repo.commitFiles({{"tides.txt", numbered()}, {"run.sh", numbered({}, 30)}}, "Tides", {scene.main});
        // Beside what the topic's fourth commit changes.
        main = scene.repo.commitFiles({{"tides.txt", numbered({{42, "line 42, upstream's"}})}}, "Upstream goes on",
                                      {base});
        scene.repo.git({"push", "--quiet", scene.upstream, text(main + ":refs/heads/main")});
        scene.repo.git({"fetch", "--quiet", "upstream"});
    }
    void publish()
    {
        scene.repo.git({"push", "--quiet", "--force", scene.fork, text(before + ":refs/heads/topic/y")});
        scene.repo.git({"update-ref", "refs/heads/topic/y", text(now)});
    }
    OverwriteCheck check() const
    {
        auto checked = overwriteCheck(scene.repo.open(), "topic/y", true);
        if (!checked)
            QTest::qFail(checked.error().line().c_str(), __FILE__, __LINE__);
        return std::move(*checked);
    }
};

// "= First", "! x", "< x", "> x" as git range-diff prints them for two lines of commits.
QStringList rangeDiff(const TempRepository& repo, const std::string& before, const std::string& now)
{
    const std::string out = repo.git(
        {"range-diff", "--no-patch", "--no-color", text("upstream/main.." + before), text("upstream/main.." + now)});
    static const QRegularExpression line(QStringLiteral("^\\s*[-\\d]+:\\s+\\S+ ([=!<>]) \\s*[-\\d]+:\\s+\\S+ (.*)$"),
                                         QRegularExpression::MultilineOption);
    QStringList found;
    for (auto at = line.globalMatch(text(out)); at.hasNext();) {
        const auto match = at.next();
        found << match.captured(1) + QLatin1Char(' ') + match.captured(2);
    }
    found.sort();
    return found;
}

QStringList marks(const std::vector<CheckRow>& rows)
{
    QStringList found;
    for (const CheckRow& row : rows)
        found << QString(QLatin1Char(!row.now                        ? '<'
                                     : !row.before                   ? '>'
                                     : row.state == CheckState::Same ? '='
                                                                     : '!')) +
                     QLatin1Char(' ') + text((row.now ? row.now : row.before)->subject);
    found.sort();
    return found;
}

std::string subjectOf(const CheckRow& row) { return (row.now ? row.now : row.before)->subject; }

CheckState stateOf(const std::vector<CheckRow>& rows, const char* subject)
{
    const auto found =
        std::ranges::find(rows, std::string(subject), [](const CheckRow& row) { return subjectOf(row); });
    return found == rows.end() ? CheckState::Kept : found->state;
}

} // namespace

class TestOverwriteCheck : public QObject {
    Q_OBJECT

    // Two versions of eight commits, one of each kind.
    static void writeVersions(Versions& made)
    {
        TempRepository& repo = made.scene.repo;
        const std::map<int, std::string> script{{4, "four"}, {5, "five"}, {6, "six"}, {20, "twenty"}, {21, "more"}};
        std::map<int, std::string> lines;
        std::string at = made.base;
        const auto commit = [&](int line, const std::string& words, const std::string& message) {
            lines[line] = words;
            at = repo.commitFiles({{"tides.txt", numbered(lines)}}, message, {at});
        };
        commit(5, "five", "Same\n\nWith a body.\n");
        commit(15, "fifteen", "Reworded\n\nBefore.\n");
        commit(25, "twenty-five", "Edited\n");
        commit(40, "forty", "Around\n"); // two lines above the upstream's change
        commit(55, "fifty five", "White space\n");
        commit(65, "sixty-five", "Moved down\n");
        commit(75, "seventy-five", "Moved up\n");
        at = repo.commitFiles({{"run.sh", numbered(script, 30)}}, "Mode\n", {at});
        at = repo.commitFiles({{"dropped.txt", "nothing of it stays\n"}}, "Left out\n", {at});
        made.before = at;

        lines = {{42, "line 42, upstream's"}};
        at = made.main;
        commit(5, "five", "Same\n\nWith a body.\n");
        commit(15, "fifteen", "Reworded\n\nAfter.\n");
        commit(25, "twenty-five and more", "Edited\n");
        commit(40, "forty", "Around\n");
        commit(55, "fifty  five", "White space\n");
        commit(75, "seventy-five", "Moved up\n");
        commit(65, "sixty-five", "Moved down\n");
        at = repo.commitFiles({{"exe:run.sh", numbered(script, 30)}}, "Mode\n", {at});
        at = repo.commitFiles({{"added.txt", "entirely new, nothing of the old one\n"}}, "Added\n", {at});
        made.now = at;
        made.publish();
    }

  private Q_SLOTS:
    // Source: git-range-diff(1), which pairs the same commits and marks those whose patches differ in any line.
    void pairsAsRangeDiff()
    {
        Versions made;
        writeVersions(made);
        const OverwriteCheck check = made.check();
        const std::vector<CheckRow> rows = rowsOf(check);
        QCOMPARE(marks(rows), rangeDiff(made.scene.repo, made.before, made.now));
        QCOMPARE(rows.size(), std::size_t(10));
        QCOMPARE(stateOf(rows, "Same"), CheckState::Same);
        QCOMPARE(stateOf(rows, "Reworded"), CheckState::Reworded);
        QCOMPARE(stateOf(rows, "Edited"), CheckState::Edited);
        QCOMPARE(stateOf(rows, "Around"), CheckState::Around);
        QCOMPARE(stateOf(rows, "White space"), CheckState::Edited);
        QCOMPARE(stateOf(rows, "Mode"), CheckState::Edited);
        QCOMPARE(stateOf(rows, "Added"), CheckState::New);
        // Newest first, in the order of the new version.
        QCOMPARE(subjectOf(rows.front()), std::string("Added"));
        QCOMPARE(subjectOf(rows.back()), std::string("Same"));
        // One of the two that changed places has moved past the other.
        QCOMPARE(std::ranges::count_if(rows, &CheckRow::moved), 1);
        QVERIFY(std::ranges::find_if(rows, &CheckRow::moved)->now->subject.starts_with("Moved"));
        // What is shown of a pair is empty exactly where git finds both the same.
        const Repository opened = made.scene.repo.open();
        for (const CommitPair& pair : check.pairs) {
            const auto difference = differenceOfChanges(opened, pair.old.id, pair.now.id);
            QVERIFY(difference);
            QVERIFY2(difference->hunks.empty() == (espalier::stateOf(pair) == CheckState::Same),
                     pair.now.subject.c_str());
        }
    }

    // A commit that both versions have stays as it is, and is said to.
    void whatBothHaveIsKept()
    {
        Versions made;
        TempRepository& repo = made.scene.repo;
        const std::string first = repo.commitFiles({{"one", "1\n"}}, "First", {made.base});
        const std::string second = repo.commitFiles({{"two", "2\n"}}, "Second", {first});
        made.before = repo.commitFiles({{"three", "3\n"}}, "Third", {second});
        made.now = repo.commitFiles({{"three", "3, better\n"}}, "Third", {second});
        made.publish();
        const OverwriteCheck check = made.check();
        QCOMPARE(check.kept.size(), std::size_t(2));
        QCOMPARE(check.newBase.hex(), made.base);
        const auto rows = rowsOf(check);
        QCOMPARE(rows.size(), std::size_t(3));
        QCOMPARE(rows[0].state, CheckState::Edited);
        QCOMPARE(rows[1].state, CheckState::Kept);
        QCOMPARE(rows[1].now->id.hex(), second);
        QCOMPARE(rows[2].now->id.hex(), first);
        const auto difference = branchDifference(repo.open(), check);
        QVERIFY(difference);
        QCOMPARE(difference->upstreamCommits, std::size_t(0));
        QCOMPARE(differenceWords(*difference), std::string("1 file differs, 1 line added, 1 deleted"));
    }

    // A commit of another author than the one before is not the same for a reviewer. Source: git-range-diff(1).
    void theAuthorCounts()
    {
        Versions made;
        TempRepository& repo = made.scene.repo;
        made.before = repo.commitFiles({{"one", "1\n"}}, "First", {made.base});
        std::string raw = repo.readRaw("commit", repo.commitFiles({{"one", "1\n"}}, "First", {made.main}));
        const std::size_t at = raw.find("author ") + 7;
        raw.replace(at, raw.find('<', at) - at, "Somebody Else ");
        made.now = repo.writeRaw("commit", raw);
        made.publish();
        const auto rows = rowsOf(made.check());
        QCOMPARE(rows.size(), std::size_t(1));
        QCOMPARE(rows[0].state, CheckState::Reworded);
        QCOMPARE(marks(rows), rangeDiff(repo, made.before, made.now));
    }

    // Source: git-merge-tree(1) with the old base, the new one and the old tip, and git diff from there to the new tip.
    void wholeBranchAsGitMergesIt_data()
    {
        QTest::addColumn<int>("kind");
        QTest::newRow("a replay and nothing else") << 0;
        QTest::newRow("edited on the way") << 1;
        QTest::newRow("settled where both changed the same") << 2;
    }
    void wholeBranchAsGitMergesIt()
    {
        QFETCH(int, kind);
        Versions made;
        TempRepository& repo = made.scene.repo;
        const std::map<int, std::string> mine =
            kind == 2 ? std::map<int, std::string>{{42, "line 42, mine"}} : std::map<int, std::string>{{10, "ten"}};
        made.before = repo.commitFiles({{"tides.txt", numbered(mine)}, {"mine.txt", "a\nb\n"}}, "Mine", {made.base});
        std::map<int, std::string> after{{42, kind == 2 ? "line 42, of both" : "line 42, upstream's"}};
        if (kind != 2)
            after[10] = "ten";
        if (kind == 1)
            after[70] = "seventy";
        made.now = repo.commitFiles({{"tides.txt", numbered(after)}, {"mine.txt", kind == 1 ? "a\nb\nc\n" : "a\nb\n"}},
                                    "Mine", {made.main});
        made.publish();
        const OverwriteCheck check = made.check();
        QCOMPARE(check.newBase.hex(), made.main);
        const std::string objects = repo.git({"count-objects", "-v"});
        const auto difference = branchDifference(repo.open(), check);
        QVERIFY(difference);
        QCOMPARE(repo.git({"count-objects", "-v"}), objects); // a look writes nothing
        QCOMPARE(difference->oldBase.id.hex(), made.base);
        QCOMPARE(difference->upstreamCommits, std::size_t(1));

        const GitRun merged = repo.tryGit({"merge-tree", "--write-tree", "--name-only", "--no-messages",
                                           text("--merge-base=" + made.base), text(made.main), text(made.before)});
        QCOMPARE(merged.exitCode, kind == 2 ? 1 : 0);
        const QStringList printed = QString::fromUtf8(merged.out).trimmed().split('\n');
        QStringList conflicts;
        for (const std::string& path : difference->conflicts)
            conflicts << text(path);
        QCOMPARE(conflicts, printed.mid(1));
        QStringList counts;
        for (const FileChange& file : difference->changes.files)
            counts << QStringLiteral("%1\t%2\t%3").arg(file.added).arg(file.deleted).arg(text(file.newPath));
        QCOMPARE(counts.join(u'\n'), text(repo.git({"diff", "--numstat", "--no-renames", printed[0], text(made.now)})));
        QCOMPARE(counts.isEmpty(), kind == 0);
        if (kind == 0)
            QCOMPARE(differenceWords(*difference), std::string("nothing differs"));
        if (kind == 2)
            QVERIFY(differenceWords(*difference).ends_with("1 path in conflict"));
    }

    // Source: git-for-each-ref(1) --contains.
    void whatElseStandsOnTheOldTip()
    {
        Versions made;
        TempRepository& repo = made.scene.repo;
        const std::string low = repo.commitFiles({{"one", "1\n"}}, "First", {made.base});
        const std::string tip = repo.commitFiles({{"two", "2\n"}}, "Second", {low});
        made.before =
            repo.writeRaw("commit", "tree " + repo.git({"rev-parse", text(tip + "^{tree}")}) + "\nparent " + tip +
                                        "\nauthor Teo Brandt <teo@example.org> 1700009000 +0000\n"
                                        "committer Teo Brandt <teo@example.org> 1700009000 +0000\n\nLost\n");
        std::string at = repo.commitFiles({{"one", "1\n"}}, "First", {made.main});
        made.now = repo.commitFiles({{"two", "2\n"}}, "Second", {at});
        made.publish();
        const std::string above = repo.commitFiles({{"z", "z\n"}}, "Stacked", {made.before});
        const std::string higher = repo.commitFiles({{"z", "zz\n"}}, "Stacked higher", {above});
        const std::string merge = repo.commitFiles({}, "Merge for a trial", {made.main, made.before});
        const std::map<std::string, std::string> refs{{"refs/heads/topic/stacked", higher},
                                                      {"refs/heads/topic/twin", made.before},
                                                      {"refs/heads/topic/low", low},
                                                      {"refs/heads/apart", made.main},
                                                      {"refs/heads/pr/3", low},
                                                      {"refs/pull/12/head", made.before},
                                                      {"refs/pull/12/merge", merge},
                                                      {"refs/pull/7/head", tip},
                                                      {"refs/pull/8/head", made.base},
                                                      {"refs/remotes/upstream/pr/9", made.before},
                                                      {"refs/remotes/upstream/pr/12", made.before},
                                                      {"refs/remotes/somebody/topic/y", above},
                                                      {"refs/tags/shown", tip}};
        for (const auto& [name, id] : refs)
            repo.git({"update-ref", text(name), text(id)});
        const OverwriteCheck check = made.check();
        QCOMPARE(check.foreign.size(), std::size_t(1));
        const auto snapshot = takeSnapshot(repo.open());
        QVERIFY(snapshot);
        const std::vector<StandsOn> found = whatStandsOn(**snapshot, check);
        QStringList words, names, wanted;
        for (const StandsOn& other : found) {
            words << text(standsOnWords(other));
            names << text(other.ref);
        }
        for (const std::string& id : {low, tip, made.before})
            wanted << text(repo.git({"for-each-ref", "--format=%(refname)", text("--contains=" + id)})).split('\n');
        wanted.removeDuplicates();
        wanted.removeAll(QStringLiteral("refs/remotes/origin/topic/y")); // the branch itself
        wanted.removeAll(QStringLiteral("refs/pull/12/merge"));          // its head says it
        wanted.removeAll(QStringLiteral("refs/remotes/upstream/pr/12")); // the same once more
        names.sort();
        wanted.sort();
        QCOMPARE(names, wanted);
        const QStringList said{
            "branch pr/3 of the clone has 1 of the old commits",
            "branch topic/low of the clone has 1 of the old commits",
            "branch topic/stacked of the clone has the old tip and 2 commits above it; holds 1 without a counterpart",
            "branch topic/twin of the clone stands at the old tip; holds 1 without a counterpart",
            "remote branch somebody/topic/y has the old tip and 1 commit above it; holds 1 without a counterpart",
            "pull request 7 (refs/pull/7/head) has 2 of the old commits",
            "pull request 9 (refs/remotes/upstream/pr/9) stands at the old tip; holds 1 without a counterpart",
            "pull request 12 (refs/pull/12/head) stands at the old tip; holds 1 without a counterpart",
            "tag shown has 2 of the old commits"};
        QCOMPARE(words.join(u'\n'), said.join(u'\n'));
    }

    // Many commits, and somebody in a hurry: what is stopped says so.
    void canBeStopped()
    {
        Versions made;
        writeVersions(made);
        std::stop_source stop;
        bool compared = false;
        const Progress progress{stop.get_token(), [&](std::string_view step, std::uint64_t, std::uint64_t) {
                                    if (step == "Comparing the versions") {
                                        compared = true;
                                        stop.request_stop();
                                    }
                                }};
        const auto check = overwriteCheck(made.scene.repo.open(), "topic/y", true, {}, progress);
        QVERIFY(compared);
        QVERIFY(!check);
        QCOMPARE(check.error().kind, ErrorKind::Cancelled);
    }
};

QTEST_GUILESS_MAIN(TestOverwriteCheck)
#include "test_overwrite_check.moc"

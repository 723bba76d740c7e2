// SPDX-License-Identifier: MIT
//
// Two versions of a branch: pairs as `git range-diff` marks them, and the difference of the differences.
#include "core/history/versions.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string numbered(int from, int to, const std::map<int, std::string>& instead = {})
{
    std::string text;
    for (int line = from; line <= to; ++line) {
        const auto found = instead.find(line);
        text += (found == instead.end() ? "line " + std::to_string(line) : found->second) + "\n";
    }
    return text;
}

// "= First" for an equal change, "! x" for a changed one, "< x" and "> x" for one that only the old or new version has.
std::vector<std::string> marks(const std::vector<VersionPair>& pairs)
{
    std::vector<std::string> found;
    for (const VersionPair& pair : pairs)
        found.push_back(std::string(!pair.now         ? "<"
                                    : !pair.before    ? ">"
                                    : pair.sameChange ? "="
                                                      : "!") +
                        " " + (pair.now ? pair.now : pair.before)->subject);
    std::ranges::sort(found);
    return found;
}

// Lines such as "1:  0a1b2c3 ! 2:  4d5e6f7 Second".
std::vector<std::string> rangeDiff(const TempRepository& repo)
{
    const std::string out = repo.git({"range-diff", "--no-patch", "--no-color", "main..before", "main..now"});
    static const QRegularExpression line(QStringLiteral("^\\s*[-\\d]+:\\s+\\S+ ([=!<>]) \\s*[-\\d]+:\\s+\\S+ (.*)$"),
                                         QRegularExpression::MultilineOption);
    std::vector<std::string> found;
    for (auto at = line.globalMatch(QString::fromStdString(out)); at.hasNext();) {
        const auto match = at.next();
        found.push_back((match.captured(1) + QLatin1Char(' ') + match.captured(2)).toStdString());
    }
    std::ranges::sort(found);
    return found;
}

} // namespace

class TestVersions : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void pairsAndDifferences();
    void nothingInCommon();
    void manyFilesAsOne();
};

void TestVersions::pairsAndDifferences()
{
    TempRepository repo;
    const auto base = repo.commitFiles({{"tides.txt", numbered(1, 40)}}, "Base", {}, "main");
    auto before = repo.commitFiles({{"tides.txt", numbered(1, 40, {{5, "five"}})}}, "First", {base});
    before = repo.commitFiles({{"tides.txt", numbered(1, 40, {{5, "five"}, {20, "twenty"}, {21, "more"}})}}, "Second",
                              {before});
    before = repo.commitFiles({{"dropped.txt", "gone in the next version\n"}}, "Third", {before}, "before");
    const auto moved = repo.commitFiles({{"tides.txt", numbered(0, 40)}}, "Upstream moved", {base}, "main");
    auto now = repo.commitFiles({{"tides.txt", numbered(0, 40, {{5, "five"}})}}, "First", {moved});
    now = repo.commitFiles({{"tides.txt", numbered(0, 40, {{5, "five"}, {20, "twenty exactly"}, {21, "more"}})}},
                           "Second", {now});
    now = repo.commitFiles({{"added.txt", "an entirely new thing, nothing of the old\n"}}, "Fourth", {now}, "now");
    const Repository opened = repo.open();
    const auto snapshot = takeSnapshot(opened).value();
    const auto rowOf = [&](const std::string& id) { return snapshot->history.find(*Oid::parse(id)); };

    const auto pairs = pairVersions(opened, *snapshot, rowOf(before), rowOf(now)).value();
    QCOMPARE(marks(pairs), (std::vector<std::string>{"! Second", "< Third", "= First", "> Fourth"}));
    // git range-diff, the reference for what belongs together
    QCOMPARE(marks(pairs), rangeDiff(repo));
    // Newest first; what was left out stands where its neighbours are.
    QCOMPARE(pairs.back().now->subject, "First");
    QVERIFY(pairs[0].now && pairs[0].now->subject == "Fourth");

    const auto of = [&](const char* subject) -> const VersionPair& {
        return *std::ranges::find_if(
            pairs, [&](const VersionPair& pair) { return (pair.now ? pair.now : pair.before)->subject == subject; });
    };
    const auto difference = [&](const VersionPair& pair) {
        return differenceOfChanges(opened, pair.before ? pair.before->id : Oid{}, pair.now ? pair.now->id : Oid{})
            .value();
    };
    QVERIFY(difference(of("First")).hunks.empty());
    const FileChange second = difference(of("Second"));
    QCOMPARE(second.added, 1u);
    QCOMPARE(second.deleted, 1u);
    QCOMPARE(second.hunks.size(), std::size_t(1));
    QCOMPARE(second.hunks[0].header, "tides.txt");
    std::vector<std::string> changed;
    for (const DiffLine& line : second.hunks[0].lines)
        if (line.kind != DiffLine::Context)
            changed.push_back((line.kind == DiffLine::Added ? "+" : "-") + line.text);
    QCOMPARE(changed, (std::vector<std::string>{"-+twenty", "++twenty exactly"}));
    QVERIFY(difference(of("Third")).added == 0 && difference(of("Third")).deleted > 0);
    QVERIFY(difference(of("Fourth")).deleted == 0 && difference(of("Fourth")).added > 0);
}

void TestVersions::nothingInCommon()
{
    TempRepository repo;
    const auto base = repo.commitFiles({{"a", "1\n"}}, "Base", {}, "main");
    const auto one = repo.commitFiles({{"a", "2\n"}}, "Reword me", {base}, "one");
    const auto two = repo.commitFiles({{"a", "2\n"}}, "Reworded", {base}, "two");
    const Repository opened = repo.open();
    const auto snapshot = takeSnapshot(opened).value();
    const Row oneRow = snapshot->history.find(*Oid::parse(one)), twoRow = snapshot->history.find(*Oid::parse(two));
    // The same change under another message is still the same change, and the difference says what is other.
    const auto pairs = pairVersions(opened, *snapshot, oneRow, twoRow).value();
    QCOMPARE(pairs.size(), std::size_t(1));
    QVERIFY(pairs[0].sameChange && !pairs[0].sameMessage);
    const FileChange words = differenceOfChanges(opened, pairs[0].before->id, pairs[0].now->id).value();
    QCOMPARE(words.hunks.size(), std::size_t(1));
    QVERIFY(words.hunks[0].header.empty());
    QVERIFY(pairVersions(opened, *snapshot, oneRow, oneRow)->empty());
}

// All files of a change in one piece, and no more of it than is asked for.
void TestVersions::manyFilesAsOne()
{
    TempRepository repo;
    const auto base = repo.commitFiles({{"a.txt", "1\n"}, {"run.sh", "echo\n"}}, "Base", {}, "main");
    const auto next = repo.commitFiles({{"a.txt", "2\n"},
                                        {"empty", ""},
                                        {"exe:run.sh", "echo\n"},
                                        {"long.txt", numbered(1, 50)},
                                        {"picture", std::string("\0\1\0", 3)}},
                                       "Next", {base}, "main");
    const auto changes = changesOf(repo.open(), *Oid::parse(next));
    QVERIFY(changes);
    const auto headers = [](const FileChange& change) {
        std::vector<std::string> found;
        for (const DiffHunk& hunk : change.hunks)
            found.push_back(hunk.header + (hunk.lines.size() == 1 ? " " + hunk.lines[0].text : ""));
        return found;
    };
    QCOMPARE(headers(joinedChanges(*changes, 1000)),
             (std::vector<std::string>{"a.txt", "empty (a new file, empty)", "long.txt",
                                       "picture (a binary file; its lines are not shown)",
                                       "run.sh (only the file's mode changed)"}));
    const FileChange some = joinedChanges(*changes, 10);
    QCOMPARE(headers(some), (std::vector<std::string>{"a.txt", "empty (a new file, empty)", "long.txt",
                                                      "more lines follow, which are not shown"}));
    std::size_t lines = 0;
    for (const DiffHunk& hunk : some.hunks)
        lines += hunk.lines.size();
    QCOMPARE(lines, std::size_t(10));
    FileChange whole = joinedChanges(*changes, 1000);
    cutLines(whole, 55);
    QCOMPARE(headers(whole), headers(joinedChanges(*changes, 1000)));
}

QTEST_GUILESS_MAIN(TestVersions)
#include "test_versions.moc"

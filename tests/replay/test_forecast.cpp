// SPDX-License-Identifier: MIT
//
// Forecasts of all branches: their order, what is kept between runs, and that nothing kept outlives what it depended on.
#include "core/history/equivalence.h"
#include "core/history/snapshot.h"
#include "core/replay/dry_run.h"
#include "core/replay/forecast.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <fstream>

using namespace espalier;
using namespace espalier::test;

namespace {

using Answers = std::map<std::string, Forecast>;

std::string numbered(int from, int to, const std::map<int, std::string>& changed = {})
{
    std::string text;
    for (int i = from; i <= to; ++i)
        text += (changed.contains(i) ? changed.at(i) : std::to_string(i)) + "\n";
    return text;
}

// Each branch once with its answer, in the order in which they came.
std::vector<std::pair<std::string, Forecast>> answersOf(const TempRepository& repo, const ForecastOptions& options = {})
{
    const Repository opened = repo.open();
    const SnapshotPtr snapshot = *takeSnapshot(opened);
    std::vector<std::pair<std::string, Forecast>> answers;
    const auto done = forecasts(
        opened, *snapshot, {},
        [&](int ref, const Forecast& forecast) {
            answers.emplace_back(snapshot->refs[std::size_t(ref)].shortName, forecast);
        },
        {}, options);
    if (!done)
        QTest::qFail(done.error().line().c_str(), __FILE__, __LINE__);
    return answers;
}

Answers keptAnswers(const TempRepository& repo)
{
    const auto found = answersOf(repo, {{}, true});
    return Answers(found.begin(), found.end());
}

} // namespace

class TestForecast : public QObject {
    Q_OBJECT

    static std::filesystem::path fileOf(const TempRepository& repo)
    {
        return repo.fsPath() / ".git/espalier/forecasts";
    }
    static std::string textOf(const TempRepository& repo)
    {
        std::ifstream file(fileOf(repo), std::ios::binary);
        return {std::istreambuf_iterator<char>(file), {}};
    }
    static void write(const TempRepository& repo, const std::string& text)
    {
        std::ofstream(fileOf(repo), std::ios::binary) << text;
    }
    // A lie in what is kept, to see whether it was asked.
    static void claimLanded(const TempRepository& repo)
    {
        std::string text = textOf(repo);
        for (std::size_t at; (at = text.find(" clean ")) != text.npos;)
            text.replace(at, 7, " landed ");
        write(repo, text);
    }
    static void setUp(TempRepository& repo)
    {
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}, {"l", "one\n"}}, "Root", {}, "main");
        repo.commitFiles({{"l", "one\ntwo\n"}}, "Topic", {root}, "topic");
        repo.commitFiles({{"g", "g\n"}}, "Other", {root}, "other");
        repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Main", {root}, "main");
    }

  private Q_SLOTS:
    void forecastsAndCancel()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}}, "Root", {}, "old");
        repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Main", {root}, "main");
        repo.commitFiles({{"f", numbered(1, 20, {{5, "Y"}})}}, "Topic", {root}, "bad");
        repo.commitFiles({{"g", "g\n"}}, "Topic", {root}, "good");
        const Repository opened = repo.open();
        const SnapshotPtr snapshot = *takeSnapshot(opened);
        std::map<std::string, Forecast> found;
        QVERIFY(forecasts(opened, *snapshot, {}, [&](int ref, const Forecast& forecast) {
            found[snapshot->refs[std::size_t(ref)].shortName] = forecast;
        }));
        QCOMPARE(found.size(), 4u);
        QCOMPARE(found["good"].kind, Forecast::Clean);
        QCOMPARE(found["bad"].kind, Forecast::Conflicts);
        QCOMPARE(found["bad"].hunks, 1u);
        QCOMPARE(found["bad"].files, 1u);
        QCOMPARE(found["old"].kind, Forecast::FastForward);
        QCOMPARE(found["main"].kind, Forecast::Nothing);
        std::stop_source source;
        source.request_stop();
        const auto stopped = forecasts(opened, *snapshot, {}, [](int, const Forecast&) {}, {source.get_token(), {}});
        QVERIFY(!stopped);
        QCOMPARE(stopped.error().kind, ErrorKind::Cancelled);
    }

    void cheapOnesFirst()
    {
        TempRepository repo;
        BulkHistory bulk;
        const int root = bulk.commit("a-release", {}, {{"f", "0\n"}}, "Root");
        int release = root;
        for (int i = 0; i < 40; ++i)
            release = bulk.commit("a-release", {release}, {{"r", std::to_string(i) + "\n"}}, "Release");
        int topic = root;
        for (int i = 0; i < 3; ++i)
            topic = bulk.commit("b-topic", {topic}, {{"t", std::to_string(i) + "\n"}}, "Topic");
        bulk.commit("c-topic", {root}, {{"c", "c\n"}}, "Topic");
        bulk.commit("main", {root}, {{"m", "m\n"}}, "Main");
        bulk.import(repo);
        std::vector<std::string> order;
        for (const auto& [branch, forecast] : answersOf(repo)) {
            order.push_back(branch);
            QVERIFY(forecast.kind != Forecast::Unknown);
        }
        QCOMPARE(order, (std::vector<std::string>{"b-topic", "c-topic", "main", "a-release"}));
    }

    // So is what has few commits, and yet a great many files of which each may be where each of the others was.
    void manyRenamesLast()
    {
        constexpr int files = 450;
        const auto texts = [](const std::string& folder, const std::string& word, int others) {
            test::Files all;
            for (int file = 0; file < files; ++file) {
                std::string text;
                for (int line = 0; line < 10; ++line)
                    text += (line < others ? word : "line") + " " + std::to_string(file * 10 + line) + "\n";
                all[folder + std::to_string(file)] = text;
            }
            return all;
        };
        TempRepository repo;
        BulkHistory bulk;
        const int root = bulk.commit("old", {}, texts("from/a", "", 0), "Root");
        auto changed = texts("from/a", "many", 1);
        changed["own"] = "own\n"; // nobody has to look whether it has landed
        bulk.commit("a-many", {root}, changed, "Every file");
        bulk.commit("b-topic", {root}, {{"b", "b\n"}}, "Topic");
        auto moved = texts("to/b", "moved", 3);
        for (int file = 0; file < files; ++file)
            moved["from/a" + std::to_string(file)] = std::nullopt;
        bulk.commit("main", {root}, moved, "Move");
        bulk.import(repo);
        std::vector<std::string> order;
        std::map<std::string, Forecast> found;
        for (const auto& [branch, forecast] : answersOf(repo)) {
            order.push_back(branch);
            found[branch] = forecast;
        }
        QCOMPARE(order, (std::vector<std::string>{"b-topic", "main", "old", "a-many"}));
        // git merge-tree finds every one of them, and that both sides changed its first line.
        QCOMPARE(found["a-many"].kind, Forecast::Conflicts);
        QCOMPARE(found["a-many"].files, std::uint32_t(files));
    }

    void keptAndGivenAgain()
    {
        TempRepository repo;
        setUp(repo);
        QVERIFY(answersOf(repo).size() == 3 && !std::filesystem::exists(fileOf(repo)));
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Clean);
        claimLanded(repo);
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Landed);
        QVERIFY(std::filesystem::remove(fileOf(repo)));
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Clean);
    }

    void nothingStale_data()
    {
        QTest::addColumn<QString>("what");
        for (const char* what : {"tip", "base", "tree attributes", "attributes", "global attributes", "renames",
                                 "rename limit", "default driver", "replaced", "graft"})
            QTest::newRow(what) << QString::fromLatin1(what);
    }

    void nothingStale()
    {
        QFETCH(QString, what);
        TempRepository repo;
        setUp(repo);
        repo.git({"config", "core.attributesFile", repo.outside() + "/attributes"});
        keptAnswers(repo);
        claimLanded(repo);
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Landed);
        const auto main = repo.git({"rev-parse", "main"}), topic = repo.git({"rev-parse", "topic"}),
                   root = repo.git({"rev-parse", "main~1"});
        const auto put = [](const std::filesystem::path& file, const std::string& text) {
            std::filesystem::create_directories(file.parent_path());
            std::ofstream(file) << text;
        };
        if (what == "tip")
            repo.commitFiles({{"more", "1\n"}}, "More", {topic}, "topic");
        else if (what == "base")
            repo.commitFiles({{"more", "1\n"}}, "More", {main}, "main");
        else if (what == "tree attributes")
            repo.commitFiles({{".gitattributes", "l binary\n"}}, "Attributes", {main}, "main");
        else if (what == "attributes")
            put(repo.fsPath() / ".git/info/attributes", "l -merge\n");
        else if (what == "global attributes")
            put((repo.outside() + "/attributes").toStdString(), "l -merge\n");
        else if (what == "renames")
            repo.git({"config", "merge.renames", "false"});
        else if (what == "rename limit")
            repo.git({"config", "diff.renameLimit", "1"});
        else if (what == "default driver")
            repo.git({"config", "merge.default", "binary"});
        else if (what == "replaced")
            repo.git({"replace", QString::fromStdString(main),
                      QString::fromStdString(repo.commitFiles({{"x", "x\n"}}, "Stand-in", {root}))});
        else
            put(repo.fsPath() / ".git/info/grafts", topic + "\n");
        const Answers now = keptAnswers(repo), computed = [&] {
            const auto found = answersOf(repo);
            return Answers(found.begin(), found.end());
        }();
        QCOMPARE(now.at("topic").kind, computed.at("topic").kind);
        QVERIFY(now.at("topic").kind != Forecast::Landed);
    }

    // A window goes on with what it has read; once a commit is given other parents, that is no longer what it changes.
    void whatWasReadIsNotUsedUnderOtherParents()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", numbered(1, 20)}}, "Root", {}, "start");
        const std::string aside = repo.commitFiles({{"x", "x\n"}}, "Aside", {root}, "aside");
        const std::string same = repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Same", {root});
        const std::string tip = repo.commitFiles({{"f", numbered(1, 20, {{5, "later"}})}}, "Later", {same}, "main");
        const std::string topic = repo.commitFiles({{"f", numbered(1, 20, {{5, "N"}})}}, "Topic", {root}, "topic");
        const auto read = std::make_shared<EquivalenceCache>(forForecasts);
        const auto told = [&](const ForecastOptions& options) {
            const auto found = answersOf(repo, options);
            return Answers(found.begin(), found.end()).at("topic").kind;
        };
        const auto outcome = [&] {
            const Repository opened = repo.open();
            PlanOptions options;
            options.committer = Person{"Mira Holt", "mira@example.org", 1700000500, 60};
            const auto plan =
                planBranch(opened, **takeSnapshot(opened), "refs/heads/topic", *Oid::parse(tip), "main", options);
            const auto run = plan ? dryRun(opened, *plan, {}, {}, read) : std::unexpected(plan.error());
            return run ? std::string(outcomeName(run->commits.at(0).outcome)) : run.error().line();
        };
        QCOMPARE(told({read, false}), Forecast::Landed);
        QCOMPARE(outcome(), "landed");
        const std::filesystem::path grafts = repo.fsPath() / ".git/info/grafts";
        std::filesystem::create_directories(grafts.parent_path());
        std::ofstream(grafts) << same << ' ' << aside << '\n';
        QCOMPARE(told({}), Forecast::Conflicts);
        QCOMPARE(told({read, false}), Forecast::Conflicts);
        QCOMPARE(outcome(), "conflict");
        // What was read under the graft is not what is kept for the time after it.
        const auto under =
            std::make_shared<EquivalenceCache>(forForecasts, (*takeSnapshot(repo.open()))->history.overrides());
        QVERIFY(!under->holdsUnder({}));
        QCOMPARE(told({under, false}), Forecast::Conflicts);
        QVERIFY(std::filesystem::remove(grafts));
        QCOMPARE(told({under, false}), Forecast::Landed);
        QCOMPARE(told({read, false}), Forecast::Landed);
    }

    void damagedIsAsIfItWereNotThere()
    {
        TempRepository repo;
        setUp(repo);
        keptAnswers(repo);
        const std::string whole = textOf(repo);
        QVERIFY(whole.size() > 200);
        for (std::size_t length = 0; length < whole.size(); length += 7) {
            write(repo, whole.substr(0, length) + std::string(length % 3, char(0xff)));
            QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Clean);
        }
        write(repo, std::string(1 << 20, 'x'));
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Clean);
        // A folder is in the way: the answers come all the same.
        QVERIFY(std::filesystem::remove(fileOf(repo)));
        std::filesystem::create_directories(fileOf(repo) / "x");
        QCOMPARE(keptAnswers(repo)["topic"].kind, Forecast::Clean);
    }

    // What was known when it was stopped is there the next time.
    void stoppedIsKept()
    {
        TempRepository repo;
        setUp(repo);
        const Repository opened = repo.open();
        const SnapshotPtr snapshot = *takeSnapshot(opened);
        std::stop_source source;
        const auto stopped = forecasts(opened, *snapshot, {}, [&](int, const Forecast&) { source.request_stop(); },
                                       {source.get_token(), {}}, {{}, true});
        QVERIFY(!stopped.has_value());
        QCOMPARE(std::ranges::count(textOf(repo), '\n'), 2);
    }
};

QTEST_GUILESS_MAIN(TestForecast)
#include "test_forecast.moc"

// SPDX-License-Identifier: MIT
//
// What commits change, kept between runs: it is used, what is damaged is not, and a small question writes nothing.
#include "core/git/files.h"
#include "core/history/outline_store.h"
#include "core/history/snapshot.h"
#include "core/replay/forecast.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestOutlineStore : public QObject {
    Q_OBJECT

    static std::filesystem::path fileOf(const TempRepository& repo) { return repo.fsPath() / ".git/espalier/outlines"; }
    // A main line of so many commits; in the midst it takes the topic's change, and goes on from there.
    static void build(TempRepository& repo, int commits)
    {
        BulkHistory bulk;
        int main = bulk.commit("main", {}, {{"f", "0"}, {"g", "g\n"}}, "Root");
        bulk.commit("topic", {main}, {{"g", "g\nmore\n"}}, "More");
        for (int i = 1; i <= commits; ++i) {
            Files changed{{"f", std::to_string(i)}};
            if (i == commits / 2)
                changed = {{"g", "g\nmore\n"}};
            else if (i == commits / 2 + 1)
                changed = {{"g", "another\n"}};
            main = bulk.commit("main", {main}, changed, "c");
        }
        bulk.import(repo);
    }
    static Forecast topic(const TempRepository& repo)
    {
        const Repository opened = repo.open();
        const SnapshotPtr snapshot = *takeSnapshot(opened);
        Forecast found;
        const auto done = forecasts(opened, *snapshot, {}, [&](int ref, const Forecast& forecast) {
            if (snapshot->refs[std::size_t(ref)].shortName == "topic")
                found = forecast;
        });
        if (!done)
            QTest::qFail(done.error().line().c_str(), __FILE__, __LINE__);
        return found;
    }

  private Q_SLOTS:
    void usedAndChecked()
    {
        TempRepository repo;
        build(repo, 1200);
        QVERIFY(readOutlines(repo.open()).empty());
        QCOMPARE(int(topic(repo).kind), int(Forecast::Landed));
        const std::vector<KeptOutline> kept = readOutlines(repo.open());
        QVERIFY2(kept.size() >= 1200, std::to_string(kept.size()).c_str());
        QCOMPARE(int(topic(repo).kind), int(Forecast::Landed));

        // A lie in it is believed, so it is asked.
        std::vector<KeptOutline> lies = kept;
        for (KeptOutline& each : lies)
            each.outline = 1;
        QVERIFY(keepOutlines(repo.open(), lies));
        QVERIFY(topic(repo).kind != Forecast::Landed);

        // Damaged anywhere, or cut, it is as if it were not there.
        QVERIFY(keepOutlines(repo.open(), kept));
        const std::string whole = *readFileBounded(fileOf(repo), 1 << 20);
        for (const std::size_t at :
             {std::size_t(0), std::size_t(20), whole.find('\n'), whole.size() / 2, whole.size() - 1}) {
            std::string damaged = whole;
            damaged[at] = char(damaged[at] ^ 0x41);
            QVERIFY(writeFileAtomically(fileOf(repo), damaged));
            QVERIFY(readOutlines(repo.open()).empty());
        }
        for (const std::size_t size : {std::size_t(0), std::size_t(10), whole.size() - 28, whole.size() - 1}) {
            QVERIFY(writeFileAtomically(fileOf(repo), std::string_view(whole).substr(0, size)));
            QVERIFY(readOutlines(repo.open()).empty());
        }
        QCOMPARE(int(topic(repo).kind), int(Forecast::Landed));
    }

    // Grafts change what a commit's parents are, and so what it changes.
    void notWhereParentsDiffer()
    {
        TempRepository repo;
        build(repo, 1200);
        QCOMPARE(int(topic(repo).kind), int(Forecast::Landed));
        QVERIFY(!readOutlines(repo.open()).empty());
        repo.git({"replace", "--graft", "main", "main~3"});
        QVERIFY(readOutlines(repo.open()).empty());
    }

    void smallHistoriesWriteNothing()
    {
        TempRepository repo;
        build(repo, 50);
        QCOMPARE(int(topic(repo).kind), int(Forecast::Landed));
        QVERIFY(!std::filesystem::exists(fileOf(repo)));
    }
};

QTEST_GUILESS_MAIN(TestOutlineStore)
#include "test_outline_store.moc"

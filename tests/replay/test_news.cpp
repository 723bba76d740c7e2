// SPDX-License-Identifier: MIT
//
// What is new since the last look: commits of the main line, and branches that fare otherwise though nobody touched them.
#include "core/history/snapshot.h"
#include "core/replay/forecast.h"
#include "core/replay/news.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

struct Seen {
    SnapshotPtr snapshot;
    Look look;
};

Seen seen(const TempRepository& repo)
{
    const Repository opened = repo.open();
    Seen now{*takeSnapshot(opened), {}};
    std::map<std::string, Forecast> all;
    const auto done = forecasts(opened, *now.snapshot, {}, [&](int ref, const Forecast& forecast) {
        all[now.snapshot->refs[std::size_t(ref)].name] = forecast;
    });
    if (!done)
        QTest::qFail(done.error().line().c_str(), __FILE__, __LINE__);
    now.look = lookAt(*now.snapshot, all);
    return now;
}

} // namespace

class TestNews : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void whatTheMainLineBrought()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n2\n3\n"}, {"g", "1\n"}}, "Root", {}, "main");
        repo.commitFiles({{"f", "1\nmine\n3\n"}}, "Clash", {root}, "clash");
        repo.commitFiles({{"g", "1\n2\n"}}, "Landing", {root}, "landing");
        repo.commitFiles({{"h", "h\n"}}, "Apart", {root}, "apart");
        const Seen before = seen(repo);
        QVERIFY(newsSince({}, before.look, *before.snapshot)->empty());          // never looked
        QVERIFY(newsSince(before.look, before.look, *before.snapshot)->empty()); // nothing moved

        const std::string landed = repo.commitFiles({{"g", "1\n2\n"}}, "Landing, by its maintainer", {root}, "main");
        const std::string other = repo.commitFiles({{"f", "1\ntheirs\n3\n"}}, "Other", {landed}, "main");
        const Seen after = seen(repo);
        const News news = *newsSince(before.look, after.look, *after.snapshot);
        QCOMPARE(news.commits, std::size_t(2));
        QCOMPARE(news.nowConflict, std::vector<std::string>{"refs/heads/clash"});
        QCOMPARE(news.nowLanded, std::vector<std::string>{"refs/heads/landing"});
        QVERIFY(news.nowClean.empty());

        // The main line takes it back: what clashed lands again, and the commits are counted by what is new of them.
        repo.commitFiles({{"f", "1\n2\n3\n"}}, "Back", {other}, "main");
        const Seen last = seen(repo);
        const News back = *newsSince(after.look, last.look, *last.snapshot);
        QCOMPARE(back.commits, std::size_t(1));
        QCOMPARE(back.nowClean, std::vector<std::string>{"refs/heads/clash"});
        QVERIFY(back.nowConflict.empty() && back.nowLanded.empty());
    }

    // A branch that the user moved is no news, whatever becomes of it.
    void whatTheUserDid()
    {
        TempRepository repo;
        const std::string root = repo.commitFiles({{"f", "1\n2\n3\n"}}, "Root", {}, "main");
        const std::string topic = repo.commitFiles({{"g", "g\n"}}, "Topic", {root}, "topic");
        const Seen before = seen(repo);
        repo.commitFiles({{"f", "1\ntheirs\n3\n"}}, "Theirs", {root}, "main");
        repo.commitFiles({{"f", "1\nmine\n3\n"}}, "Mine", {topic}, "topic");
        const Seen after = seen(repo);
        const News news = *newsSince(before.look, after.look, *after.snapshot);
        QCOMPARE(news.commits, std::size_t(1));
        QVERIFY(news.nowConflict.empty() && news.nowClean.empty() && news.nowLanded.empty());
    }

    void asText()
    {
        Look look;
        look.mainTip = *Oid::parse(std::string(40, 'a'));
        look.branches["refs/heads/with space"] = {*Oid::parse(std::string(40, 'b')), Forecast::Conflicts};
        look.branches["refs/heads/b"] = {*Oid::parse(std::string(40, 'c')), Forecast::Clean};
        QCOMPARE(Look::parse(look.text()), look);
        // Damage costs the line that it is in.
        std::string text = look.text();
        text.replace(text.find("cccc"), 4, "zzzz");
        QCOMPARE(Look::parse(text).branches.size(), std::size_t(1));
        for (const char* bad : {"", "\n", "x", "\n\n\n", "no id\nmore\n"})
            QCOMPARE(Look::parse(bad), Look());
        text = look.text();
        for (std::size_t cut = 0; cut < text.size(); ++cut)
            QVERIFY(Look::parse(text.substr(0, cut)).branches.size() <= 2);
        const std::string line(std::string(40, 'b') + " 99 refs/heads/x\n");
        QVERIFY(Look::parse(std::string(40, 'a') + "\n" + line).branches.empty());
    }
};

QTEST_GUILESS_MAIN(TestNews)
#include "test_news.moc"

// SPDX-License-Identifier: MIT
//
// The whole replay as a list, without reading a file: each question once, under the path that the settle page gives it.
#include "core/conflicts/commit_conflicts.h"
#include "core/conflicts/replay_outline.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestReplayOutline : public QObject {
    Q_OBJECT

    static std::string lines(int count, const std::string& end = {})
    {
        std::string text;
        for (int i = 0; i < count; ++i)
            text += "line " + std::to_string(i) + "\n";
        return text + end;
    }

  private Q_SLOTS:
    // The list and the page ask the same of every kind of conflict.
    void asksWhatThePageAsks_data()
    {
        QTest::addColumn<int>("kind");
        for (int kind = 0; kind < 7; ++kind)
            QTest::addRow("kind %d", kind) << kind;
    }
    void asksWhatThePageAsks()
    {
        QFETCH(int, kind);
        struct Change {
            Files base, newBase, commit;
        };
        const Change changes[] = {
            {{{"f", "1\n2\n3\n4\n5\n"}}, {{"f", "a\n2\n3\n4\nb\n"}}, {{"f", "x\n2\n3\n4\ny\n"}}},
            {{{"old", lines(30)}},
             {{"old", {}}, {"left", lines(30, "l\n")}},
             {{"old", {}}, {"right", "r\n" + lines(30)}}},
            {{{"a", "a\n"}}, {{"thing", "file\n"}}, {{"thing/inner", "inner\n"}}},
            {{{"a", "a\n"}}, {{"thing/inner", "inner\n"}}, {{"thing", "file\n"}}},
            {{{"tool", lines(30)}}, {{"link:tool", "else"}}, {{"tool", lines(30, "more\n")}}},
            {{{"a", "a\n"}, {"notes", "1\n"}}, {{"notes", {}}}, {{"notes", "2\n"}}},
            {{{"a", "a\n"}}, {{"sub:part", std::string(40, '2')}}, {{"part", "file\n"}}},
        };
        TempRepository repo;
        const std::string root = repo.commitFiles(changes[kind].base, "Base", {}, "main");
        repo.commitFiles(changes[kind].commit, "Mine", {root}, "topic");
        const std::string main = repo.commitFiles(changes[kind].newBase, "Upstream", {root}, "main");
        const Repository opened = repo.open();
        const auto run = std::make_shared<const DryRun>(runOf(opened, planOf(opened, "topic", main)));
        const auto read = readConflicts(repo.fsPath().string(), run, 0, {});
        QVERIFY(read && !read->files.empty());
        const auto all = replayOutline(*run, {});
        QCOMPARE(all.size(), 1u);
        QCOMPARE(all[0].subject, std::string("Mine"));
        QCOMPARE(all[0].files.size(), read->files.size());
        for (std::size_t i = 0; i < read->files.size(); ++i) {
            const FileOutline& file = all[0].files[i];
            const ConflictText& text = read->files[i].text;
            QCOMPARE(file.path, text.path);
            QVERIFY(file.key == text.key);
            QCOMPARE(file.wholePath, text.wholePath);
            QCOMPARE(file.hunks.size(), std::max(text.hunks.size(), std::size_t(text.wholePath)));
            for (std::size_t k = 0; k < text.hunks.size(); ++k)
                QVERIFY(file.hunks[k].lines == text.hunks[k].commit);
            for (const HunkOutline& hunk : file.hunks)
                QVERIFY(hunk.choice == Choice::Undecided);
        }
        QCOMPARE(all[0].questions(), read->questions({}));
        // Decided, all of it is; and is known without a file.
        Settlements decided;
        for (std::size_t i = 0; i < read->files.size(); ++i) {
            FileSettlement settled = undecided(read->files[i].text);
            for (std::size_t k = 0; k < settled.hunkCount(); ++k)
                settled.decide(k, {Choice::YourCommit, {}});
            decided = decided.with(read->files[i].text.key, settled);
            for (const auto& [key, file] : read->files[i].text.wholePath
                                               ? read->decidedWhole(i, Choice::YourCommit)
                                               : std::vector<std::pair<SettlementKey, FileSettlement>>())
                decided = decided.with(key, file);
        }
        const auto then = replayOutline(runOf(opened, run->plan, decided), decided);
        QCOMPARE(then[0].undecided(), 0u);
        for (const FileOutline& file : then[0].files)
            for (const HunkOutline& hunk : file.hunks)
                QVERIFY(hunk.choice == Choice::YourCommit);
    }

    void saysWhatIsNewlyOpen()
    {
        const Oid one = *Oid::parse(std::string(40, '1')), two = *Oid::parse(std::string(40, '2'));
        const auto file = [&](const Oid& of, const char* path, std::size_t again) {
            FileOutline outline;
            outline.key = {of, path};
            outline.again = again;
            return outline;
        };
        const std::vector<CommitOutline> before{{0, one, "one", {file(one, "a", 0), file(one, "b", 2)}},
                                                {1, two, "two", {file(two, "a", 0)}}};
        std::vector<CommitOutline> now = before;
        QVERIFY(newlyOpen(before, now).empty());
        now[0].files[0].again = 1;
        now[1].files.push_back(file(two, "c", 1));
        const auto open = newlyOpen(before, now);
        QCOMPARE(open.size(), 2u);
        QCOMPARE(open[0].files.size(), 1u);
        QCOMPARE(open[0].files[0].key.path, std::string("a"));
        QCOMPARE(open[1].files[0].key.path, std::string("c"));
    }
};

QTEST_APPLESS_MAIN(TestReplayOutline)
#include "test_replay_outline.moc"

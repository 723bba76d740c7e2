// SPDX-License-Identifier: MIT
//
// Who changed these lines, held against `git log -L` (git's plumbing as the reference).
#include "core/conflicts/line_commits.h"

#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <random>
#include <set>

using namespace espalier;
using espalier::test::TempRepository;

using Ids = std::vector<std::string>;

class TestLineCommits : public QObject {
    Q_OBJECT

    static std::string joined(const std::vector<std::string>& lines)
    {
        std::string text;
        for (const std::string& line : lines)
            text += line + "\n";
        return text;
    }

    static std::vector<Ids> asked(const TempRepository& repo, const std::string& below, const std::string& tip,
                                  const std::string& path, std::vector<LineRange> lines,
                                  const std::string& earlier = {})
    {
        const Repository opened = repo.open();
        ObjectStore store(opened);
        CommitTable table(opened);
        const auto ways = table.divergence(store, *Oid::parse(below), *Oid::parse(tip));
        if (!ways)
            qFatal("%s", ways.error().line().c_str());
        const auto found =
            commitsThatChanged(store, table, {*Oid::parse(tip), ways->onlyRight, path, earlier, std::move(lines)});
        if (!found)
            qFatal("%s", found.error().line().c_str());
        std::vector<Ids> all;
        for (const std::vector<Oid>& list : *found) {
            all.emplace_back();
            for (const Oid& id : list)
                all.back().push_back(id.hex());
        }
        return all;
    }

    static std::set<std::string> byGit(const TempRepository& repo, const std::string& below, const std::string& tip,
                                       const std::string& path, const LineRange& lines)
    {
        const std::string range = std::to_string(lines.first + 1) + "," + std::to_string(lines.end()) + ":" + path;
        const std::string said = repo.git({"log", "--format=%H", "--no-patch", "-L", QString::fromStdString(range),
                                           QString::fromStdString(below + ".." + tip)});
        std::set<std::string> ids;
        for (const QString& line : QString::fromStdString(said).split('\n', Qt::SkipEmptyParts))
            ids.insert(line.toStdString());
        return ids;
    }

  private Q_SLOTS:
    // The last commit that touched the file did not touch the lines.
    void namesThoseOfTheLinesOnly()
    {
        TempRepository repo(TempRepository::Bare);
        const std::string root = repo.commitFiles({{"f", joined({"a", "b", "c", "d", "e", "f", "g"})}}, "Root");
        const std::string one = repo.commitFiles({{"f", joined({"a", "B", "c", "d", "e", "f", "g"})}}, "One", {root});
        const std::string two = repo.commitFiles({{"f", joined({"a", "B2", "c", "d", "e", "f", "g"})}}, "Two", {one});
        const std::string other =
            repo.commitFiles({{"f", joined({"a", "B2", "c", "d", "e", "f", "G"})}}, "Other", {two});
        const std::string else_ = repo.commitFiles({{"g", "elsewhere\n"}}, "Elsewhere", {other});
        const auto found = asked(repo, root, else_, "f", {{1, 1}, {6, 1}, {3, 1}});
        QCOMPARE(found[0], (Ids{two, one}));
        QCOMPARE(found[1], (Ids{other}));
        QCOMPARE(found[2], Ids{});
        QCOMPARE(asked(repo, root, else_, "nowhere", {{0, 1}})[0], Ids{});
    }

    // What was taken out has no lines in the file any more.
    void namesWhoTookLinesOut()
    {
        TempRepository repo(TempRepository::Bare);
        const std::string root = repo.commitFiles({{"f", joined({"a", "b", "c", "d", "e"})}}, "Root");
        const std::string out = repo.commitFiles({{"f", joined({"a", "b", "d", "e"})}}, "Out", {root});
        const std::string top = repo.commitFiles({{"f", joined({"top", "a", "b", "d", "e"})}}, "Top", {out});
        const std::string last = repo.commitFiles({{"f", joined({"top", "a", "b", "d", "E"})}}, "Last", {top});
        QCOMPARE(asked(repo, root, last, "f", {{3, 0}})[0], (Ids{out}));
        QCOMPARE(asked(repo, root, last, "f", {{2, 1}})[0], (Ids{out})); // at the edge of "b"
        QCOMPARE(asked(repo, root, last, "f", {{4, 1}})[0], (Ids{last}));
    }

    void followsARename()
    {
        TempRepository repo(TempRepository::Bare);
        const std::string root = repo.commitFiles({{"old", joined({"a", "b", "c"})}}, "Root");
        const std::string one = repo.commitFiles({{"old", joined({"a", "B", "c"})}}, "One", {root});
        const std::string renamed =
            repo.commitFiles({{"old", std::nullopt}, {"new", joined({"a", "B", "c"})}}, "Renamed", {one});
        const std::string two = repo.commitFiles({{"new", joined({"a", "B", "C"})}}, "Two", {renamed});
        QCOMPARE(asked(repo, root, two, "new", {{1, 1}}, "old")[0], (Ids{one}));
        QCOMPARE(asked(repo, root, two, "new", {{2, 1}}, "old")[0], (Ids{two}));
    }

    // `git log -L` as the reference, on histories with merges. Lines are changed and put in, never taken out: for those git
    // and we differ on purpose (see the header).
    void agreesWithGit_data()
    {
        QTest::addColumn<unsigned>("seed");
        for (unsigned seed = 1; seed <= 12; ++seed)
            QTest::addRow("%u", seed) << seed;
    }
    void agreesWithGit()
    {
        QFETCH(unsigned, seed);
        std::mt19937 random(seed);
        const auto below = [&](std::size_t limit) { return std::size_t(random() % limit); };
        TempRepository repo(TempRepository::Bare);
        std::vector<std::string> lines;
        for (int i = 0; i < 12; ++i)
            lines.push_back("line " + std::to_string(i));
        struct Made {
            std::string id;
            std::vector<std::string> lines;
        };
        const std::string root = repo.commitFiles({{"d/f", joined(lines)}}, "Root");
        std::vector<Made> all{{root, lines}};
        std::set<std::size_t> heads{0};
        int fresh = 0;
        for (int step = 0; step < 24; ++step) {
            const std::size_t from = heads.size() > 2 || below(3) ? *heads.rbegin() : below(all.size());
            std::vector<std::string> now = all[from].lines;
            const std::size_t at = below(now.size());
            if (below(4) == 0)
                now.insert(now.begin() + std::ptrdiff_t(at), "put in " + std::to_string(fresh++));
            else
                now[at] = "changed " + std::to_string(fresh++);
            all.push_back({repo.commitFiles({{"d/f", joined(now)}}, "Step", {all[from].id}), now});
            heads.erase(from);
            heads.insert(all.size() - 1);
            if (heads.size() < 2 || below(2))
                continue;
            // A merge that keeps one side, or settles it by a line of its own.
            const std::size_t first = *heads.begin(), second = *heads.rbegin();
            std::vector<std::string> merged = all[below(2) ? first : second].lines;
            if (below(2))
                merged[below(merged.size())] = "settled " + std::to_string(fresh++);
            all.push_back(
                {repo.commitFiles({{"d/f", joined(merged)}}, "Merge", {all[first].id, all[second].id}), merged});
            heads.erase(first);
            heads.erase(second);
            heads.insert(all.size() - 1);
        }
        const Made& tip = all.back();
        std::vector<LineRange> ranges;
        for (int i = 0; i < 10; ++i) {
            const int first = int(below(tip.lines.size()));
            ranges.push_back({first, 1 + int(below(std::min<std::size_t>(3, tip.lines.size() - std::size_t(first))))});
        }
        const auto found = asked(repo, root, tip.id, "d/f", ranges);
        for (std::size_t i = 0; i < ranges.size(); ++i) {
            const std::set<std::string> here(found[i].begin(), found[i].end());
            QCOMPARE(here, byGit(repo, root, tip.id, "d/f", ranges[i]));
            m_named += here.size();
        }
    }

    // The comparison above had something to compare.
    void someWereNamed() { QVERIFY(m_named > 100); }

  private:
    std::size_t m_named = 0;
};

QTEST_APPLESS_MAIN(TestLineCommits)
#include "test_line_commits.moc"

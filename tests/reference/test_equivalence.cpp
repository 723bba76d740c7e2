// SPDX-License-Identifier: MIT
//
// Changes' ids against `git diff-tree --patch --full-index | git patch-id --stable`, equal commits against `git cherry`,
// and what has landed. All git's plumbing, over random histories.
#include "core/history/changes.h"
#include "core/history/drift.h"
#include "core/history/equivalence.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <map>
#include <random>
#include <set>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return *Oid::parse(hex); }

std::vector<std::string> lines(const std::string& text)
{
    std::vector<std::string> list;
    for (const QByteArray& line : QByteArray::fromStdString(text).split('\n'))
        if (!line.isEmpty())
            list.push_back(line.toStdString());
    return list;
}

std::string textOf(const std::vector<int>& numbers)
{
    std::string text;
    for (const int number : numbers)
        text += number % 5 == 0 ? "\n" : "  line " + std::to_string(number) + (number % 7 == 0 ? "\r\n" : "\n");
    return text;
}

// Edits of every kind that a patch shows: texts, binary files, modes, links, odd names, empty files, missing line ends.
class RandomEdits {
  public:
    explicit RandomEdits(unsigned seed) : m_random(seed) {}
    Files next()
    {
        static const std::vector<std::string> names{
            "a.txt",   "dir/b c.txt", "dir/deep/c.txt", "z/\xc3\xa9t\xc3\xa9.txt",
            "quo\"te", "tab\there",   "back\\slash",    "bin",
            "empty",   "zz"};
        Files files;
        for (int i = 0, count = 1 + below(3); i < count; ++i) {
            const std::string name = names[std::size_t(below(int(names.size())))];
            const int kind = below(12);
            const auto plain = [&](const std::string& prefix, const std::string& text) {
                for (const char* other : {"", "exe:", "link:"})
                    files.erase(other + name);
                files[prefix + name] = text;
            };
            if (kind == 0)
                plain("", std::string("bin\0ary", 7) + char('a' + below(20)));
            else if (kind == 1)
                plain("", "");
            else if (kind == 2)
                plain("link:", "target" + std::to_string(below(5)));
            else if (kind == 3)
                plain("exe:", edited(name));
            else
                plain("", edited(name) + (kind == 4 ? "no end" : ""));
        }
        return files;
    }

  private:
    int below(int limit) { return int(m_random() % unsigned(limit)); }
    std::string edited(const std::string& name)
    {
        std::vector<int>& numbers = m_texts[name];
        if (numbers.empty())
            for (int i = 0; i < 40; ++i)
                numbers.push_back(below(30));
        for (int i = 0, count = below(4); i < count; ++i) {
            const auto at = numbers.begin() + below(int(numbers.size()));
            switch (below(3)) {
            case 0:
                *at = below(1000);
                break;
            case 1:
                numbers.insert(at, below(30));
                break;
            default:
                if (numbers.size() > 10)
                    numbers.erase(at);
            }
        }
        return textOf(numbers);
    }
    std::mt19937 m_random;
    std::map<std::string, std::vector<int>> m_texts;
};

} // namespace

class TestEquivalence : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void patchIdsAgree();
    void cherryAgrees();
    void cherryAgreesWhereParentsDiffer_data();
    void cherryAgreesWhereParentsDiffer();
    void changesAgree();
};

void TestEquivalence::patchIdsAgree()
{
    TempRepository repo;
    BulkHistory bulk;
    RandomEdits edits(7);
    int tip = bulk.commit("main", {}, edits.next(), "Root");
    for (int i = 0; i < 250; ++i)
        tip = bulk.commit("main", {tip}, edits.next(), "Change " + std::to_string(i));
    bulk.import(repo);
    // One "PATCH-ID COMMIT" line a commit that changes something.
    const auto patches =
        repo.tryGit({"log", "-p", "--full-index", "--no-ext-diff", "--no-textconv", "--no-renames", "main"}).out;
    std::map<std::string, std::string> expected;
    for (const auto& line : lines(repo.git({"patch-id", "--stable"}, patches)))
        expected[line.substr(41)] = line.substr(0, 40);
    QVERIFY(expected.size() > 200);
    const Repository opened = repo.open();
    ObjectStore store(opened);
    EquivalenceCache cache;
    for (const auto& commit : lines(repo.git({"rev-list", "main"}))) {
        const auto id = changeIdOf(store, oid(commit), cache);
        QVERIFY(id.has_value());
        const auto known = expected.find(commit);
        const std::string wanted = known == expected.end() ? "" : known->second;
        if ((*id ? (*id)->hex() : std::string()) != wanted)
            qWarning("%s", repo.git({"diff-tree", "-p", "--root", "--full-index", commit.c_str()}).c_str());
        QCOMPARE(*id ? (*id)->hex() : std::string(), wanted);
    }
}

void TestEquivalence::cherryAgrees()
{
    for (const unsigned seed : {1u, 2u, 3u}) {
        TempRepository repo;
        BulkHistory bulk;
        std::mt19937 random(seed);
        const auto text = [](int from) {
            std::string all;
            for (int i = 0; i < 12; ++i)
                all += "line " + std::to_string(from + i) + "\n";
            return all;
        };
        Files start;
        for (int f = 0; f < 6; ++f)
            start["f" + std::to_string(f) + "/text"] = text(f * 100);
        const int root = bulk.commit("main", {}, start, "Root");
        int main = root, topic = root;
        // The topic edits f0 to f3 in turn; main takes over some of these edits as they are, some changed, and edits others.
        for (int i = 0; i < 40; ++i) {
            const std::string path = "f" + std::to_string(i % 4) + "/text";
            const std::string changed = text((i % 4) * 100 + 1000 * (i / 4 + 1));
            topic = bulk.commit("topic", {topic}, {{path, changed}}, "Topic " + std::to_string(i));
            if (random() % 2 == 0 || i % 4 == 0)
                main = bulk.commit("main", {main}, {{path, changed}}, "Taken " + std::to_string(i));
            if (random() % 2 == 0)
                main =
                    bulk.commit("main", {main}, {{"f5/text", text(int(random() % 9000))}}, "Own " + std::to_string(i));
        }
        bulk.import(repo);
        std::set<std::string> expected, mine;
        for (const auto& line : lines(repo.git({"cherry", "main", "topic"})))
            if (line.starts_with("- "))
                expected.insert(line.substr(2));
        std::vector<Oid> own, others;
        for (const auto& id : lines(repo.git({"rev-list", "main..topic"})))
            own.push_back(oid(id));
        for (const auto& id : lines(repo.git({"rev-list", "topic..main"})))
            others.push_back(oid(id));
        const Repository opened = repo.open();
        ObjectStore store(opened);
        EquivalenceCache cache;
        for (int turn = 0; turn < 2; ++turn) { // the second from what the cache knows
            const auto pairs = equalCommits(store, own, others, cache);
            QVERIFY(pairs.has_value());
            std::set<std::string> found;
            for (const auto& [a, b] : *pairs)
                found.insert(a.hex());
            QCOMPARE(found, expected);
            QVERIFY(!found.empty() && found.size() < own.size());
        }
        // Asked one by one, first about part of main: what an earlier question ruled out must still be found by a later one.
        EquivalenceCache kept({1, false}), inFull({1, true});
        std::set<std::string> found;
        for (const Oid& commit : own) {
            const std::size_t part = random() % others.size();
            const auto some = equalCommits(store, std::span(&commit, 1), std::span(others).subspan(part), kept);
            const auto all = equalCommits(store, std::span(&commit, 1), others, kept);
            QVERIFY(some.has_value() && all.has_value());
            QVERIFY(some->size() <= all->size());
            QCOMPARE(equalCommits(store, std::span(&commit, 1), others, inFull).value_or(decltype(all)::value_type()),
                     *all);
            if (!all->empty())
                found.insert(commit.hex());
        }
        QCOMPARE(found, expected);
    }
}

void TestEquivalence::cherryAgreesWhereParentsDiffer_data()
{
    QTest::addColumn<QString>("how");
    QTest::addColumn<bool>("withGraph");
    for (const char* how : {"", "graft", "graft of mine", "replaced", "replaced parent"})
        for (const bool withGraph : {false, true})
            QTest::addRow("%s%s", *how ? how : "as made", withGraph ? ", commit-graph" : "") << how << withGraph;
}

// A commit changes what it does to the parents that git gives it, whatever its object says.
void TestEquivalence::cherryAgreesWhereParentsDiffer()
{
    QFETCH(QString, how);
    QFETCH(bool, withGraph);
    TempRepository repo;
    const std::string root = repo.commitFiles({{"f", "1\n2\n3\n"}}, "Root", {}, "start");
    const std::string aside = repo.commitFiles({{"x", "x\n"}}, "Aside", {root}, "aside");
    const std::string same = repo.commitFiles({{"f", "1\ntwo\n3\n"}}, "Same", {root});
    const std::string main = repo.commitFiles({{"g", "g\n"}}, "More", {same}, "main");
    const std::string mine = repo.commitFiles({{"f", "1\ntwo\n3\n"}}, "Mine", {root}, "topic");
    if (withGraph)
        repo.git({"commit-graph", "write", "--reachable"});
    if (how.startsWith("graft"))
        repo.writeFile(".git/info/grafts", (how == "graft" ? same : mine) + " " + aside + "\n");
    else if (how.startsWith("replaced"))
        repo.git({"replace", QString::fromStdString(how == "replaced" ? same : root), QString::fromStdString(aside)});
    const Repository opened = repo.open();
    ObjectStore store(opened);
    EquivalenceCache cache;
    std::vector<Oid> others;
    for (const std::string& line : lines(repo.git({"rev-list", "topic..main"})))
        others.push_back(oid(line));
    const auto pairs = equalCommits(store, std::vector{oid(mine)}, others, cache);
    QVERIFY2(pairs, pairs ? "" : pairs.error().line().c_str());
    // Source: git cherry, whose minus is an equal commit.
    const bool equal = repo.git({"cherry", "main", "topic"}).contains("- " + mine);
    QCOMPARE(pairs->size(), equal ? 1u : 0u);
    QCOMPARE(pairs->empty(), how.startsWith("graft") || how == "replaced");
}

void TestEquivalence::changesAgree()
{
    TempRepository repo;
    BulkHistory bulk;
    RandomEdits edits(99);
    int tip = bulk.commit("main", {}, edits.next(), "Root");
    for (int i = 0; i < 60; ++i)
        tip = bulk.commit("main", {tip}, edits.next(), "Change " + std::to_string(i));
    bulk.import(repo);
    const Repository opened = repo.open();
    ChangesOptions options;
    int compared = 0;
    for (const auto& commit : lines(repo.git({"rev-list", "main"}))) {
        const auto changes = changesOf(opened, oid(commit), options);
        QVERIFY(changes.has_value());
        // git diff-tree --numstat -z, renames as they are found by default: "added TAB deleted TAB path", "-" for binary.
        std::multiset<std::string> found, expected;
        for (const FileChange& file : changes->files) {
            std::uint32_t added = 0, deleted = 0;
            for (const DiffHunk& hunk : file.hunks)
                for (const DiffLine& line : hunk.lines) {
                    added += line.kind == DiffLine::Added;
                    deleted += line.kind == DiffLine::Deleted;
                }
            QCOMPARE(added, file.added);
            QCOMPARE(deleted, file.deleted);
            if (file.oldPath == file.newPath)
                found.insert((file.binary ? "-\t-" : std::to_string(added) + '\t' + std::to_string(deleted)) + '\t' +
                             file.newPath);
        }
        const auto out =
            repo.tryGit({"diff-tree", "--root", "-r", "-M", "--no-commit-id", "--numstat", "-z", commit.c_str()}).out;
        const auto parts = out.split('\0');
        for (qsizetype i = 0; i < parts.size(); ++i) {
            if (parts[i].isEmpty())
                continue;
            if (parts[i].endsWith('\t')) // a rename: its two names follow
                i += 2;
            else
                expected.insert(parts[i].toStdString());
        }
        // Where a file becomes a link beside other changes, libgit2 may pair the halves as renames, which git does not.
        if (repo.git({"diff-tree", "--root", "-r", "--name-status", commit.c_str()}).find("T\t") != std::string::npos &&
            changes->files.size() > 1)
            continue;
        ++compared;
        if (found != expected)
            qWarning("%s", repo.git({"diff-tree", "--root", "-r", "-M", "--numstat", commit.c_str()}).c_str());
        QCOMPARE(found, expected);
    }
    QVERIFY(compared > 30);
    QVERIFY(changesBetween(opened, oid(repo.git({"rev-parse", "main~5"})), oid(repo.git({"rev-parse", "main"})))
                .has_value());
    // `git apply` takes the patch text of a commit, onto its parent's tree.
    for (int back = 0; back < 8; ++back) {
        const auto commit = repo.git({"rev-parse", QString("main~%1").arg(back).toUtf8().constData()});
        const auto patch = patchText(opened, oid(commit));
        QVERIFY(patch.has_value());
        repo.git({"read-tree", (commit + "^").c_str()});
        if (repo.git({"diff-tree", "-r", commit.c_str()}).find(':') == std::string::npos)
            continue;
        repo.git({"apply", "--cached", "--whitespace=nowarn"}, QByteArray::fromStdString(*patch));
        QCOMPARE(repo.git({"write-tree"}), repo.git({"rev-parse", (commit + "^{tree}").c_str()}));
    }
    // The same for two commits far apart, in both directions.
    for (const auto& [from, to] : {std::pair("main~20", "main"), {"main", "main~20"}}) {
        const auto patch = patchBetween(opened, oid(repo.git({"rev-parse", from})), oid(repo.git({"rev-parse", to})));
        QVERIFY(patch.has_value() && !patch->empty());
        repo.git({"read-tree", from});
        repo.git({"apply", "--cached", "--whitespace=nowarn"}, QByteArray::fromStdString(*patch));
        QCOMPARE(repo.git({"write-tree"}), repo.git({"rev-parse", (std::string(to) + "^{tree}").c_str()}));
    }
}

QTEST_GUILESS_MAIN(TestEquivalence)
#include "test_equivalence.moc"

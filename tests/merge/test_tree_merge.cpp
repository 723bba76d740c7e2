// SPDX-License-Identifier: MIT
//
// Merges of trees, a kind of conflict each; the comparison with git is in tests/reference/test_merge_tree.cpp.
#include "core/merge/tree_merge.h"

#include "core/git/commit.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using espalier::test::Files;
using espalier::test::TempRepository;

class TestTreeMerge : public QObject {
    Q_OBJECT

    static std::string lines(int count, int changed = -1)
    {
        std::string text;
        for (int i = 0; i < count; ++i)
            text += (i == changed ? "changed " : "line ") + std::to_string(i) + "\n";
        return text;
    }

    struct Outcome {
        TreeMerge merge;
        std::map<std::string, std::string> held; // contents of the merged tree's conflicted paths
    };

    static Outcome merged(const Files& base, const Files& newBase, const Files& commit, MergeOptions options = {})
    {
        TempRepository repo(TempRepository::Bare);
        const std::string a = repo.commitFiles(base, "Base");
        const std::string b = repo.commitFiles(newBase, "New base", {a});
        const std::string c = repo.commitFiles(commit, "Commit", {a});
        const Repository opened = repo.open();
        ObjectStore store(opened);
        MergeCaches caches;
        const auto tree = [&](const std::string& id) { return readCommit(store, *Oid::parse(id)).value().tree; };
        auto merge = mergeTrees(store, tree(a), tree(b), tree(c), options, caches);
        if (!merge)
            qFatal("%s", merge.error().line().c_str());
        Outcome outcome{std::move(*merge), {}};
        for (const PathConflict& conflict : outcome.merge.conflicts)
            if (conflict.held.mode == FileMode::File)
                outcome.held[conflict.path] = store.read(conflict.held.id, ObjectType::Blob).value().view();
        return outcome;
    }

  private Q_SLOTS:
    void kinds_data()
    {
        QTest::addColumn<int>("index");
        QTest::addColumn<QString>("kind");
        const char* const kinds[] = {"text",
                                     "both-added",
                                     "deleted-by-new-base",
                                     "deleted-by-commit",
                                     "binary",
                                     "type-differs",
                                     "file-and-directory",
                                     "renamed-twice",
                                     "renamed-and-deleted",
                                     "renamed-and-added",
                                     "directory-renamed"};
        for (int i = 0; i < int(std::size(kinds)); ++i)
            QTest::addRow("%s", kinds[i]) << i << kinds[i];
    }

    void kinds()
    {
        QFETCH(int, index);
        QFETCH(QString, kind);
        const std::string text = lines(20);
        const Files base{{"a", text}, {"d/one", lines(9)}, {"d/two", lines(12)}, {"bin", std::string("x\0y", 3)}};
        const std::optional<std::string> gone;
        const std::pair<Files, Files> sides[] = {
            {{{"a", lines(20, 3)}}, {{"a", lines(3) + "mine\n" + lines(20).substr(lines(4).size())}}},
            {{{"n", "one\n"}}, {{"n", "two\n"}}},
            {{{"a", gone}}, {{"a", lines(20, 3)}}},
            {{{"a", lines(20, 3)}}, {{"a", gone}}},
            {{{"bin", std::string("1\0y", 3)}}, {{"bin", std::string("2\0y", 3)}}},
            {{{"n", "one\n"}}, {{"link:n", "target"}}},
            {{{"n", "one\n"}}, {{"n/inside", "two\n"}}},
            {{{"a", gone}, {"b", text}}, {{"a", gone}, {"c", text}}},
            {{{"a", gone}, {"b", text}}, {{"a", gone}}},
            {{{"a", gone}, {"b", text}}, {{"a", lines(20, 3)}, {"b", "added\n"}}},
            {{{"d/one", gone}, {"d/two", gone}, {"e/one", lines(9)}, {"e/two", lines(12)}}, {{"d/three", "new\n"}}},
        };
        const auto& [newBase, commit] = sides[index];
        const Outcome outcome = merged(base, newBase, commit);
        QVERIFY(!outcome.merge.clean());
        QVERIFY(std::ranges::any_of(outcome.merge.conflicts, [&](const PathConflict& conflict) {
            return conflictKindName(conflict.kind) == kind.toStdString();
        }));
        for (const PathConflict& conflict : outcome.merge.conflicts)
            QVERIFY(std::ranges::contains(outcome.merge.stages, conflict.path, &StagedPath::path));
    }

    void renamesCarryChanges()
    {
        const Outcome outcome = merged({{"a", lines(20)}}, {{"a", {}}, {"b", lines(20, 2)}}, {{"a", lines(20, 15)}});
        QVERIFY(outcome.merge.clean());
        MergeOptions without;
        without.renames = false;
        QVERIFY(!merged({{"a", lines(20)}}, {{"a", {}}, {"b", lines(20, 2)}}, {{"a", lines(20, 15)}}, without)
                     .merge.clean());
    }

    void attributes()
    {
        const Files base{{"log", "a\n"},
                         {"bin", "a\n"},
                         {"plain", "a\n"},
                         {".gitattributes", "log merge=union\nbin -merge\nplain conflict-marker-size=9\n"}};
        const Outcome outcome = merged(base, {{"log", "a\nb\n"}, {"bin", "b\n"}, {"plain", "b\n"}},
                                       {{"log", "a\nc\n"}, {"bin", "c\n"}, {"plain", "c\n"}});
        QCOMPARE(outcome.merge.conflicts.size(), std::size_t(2));
        QCOMPARE(outcome.merge.conflicts[0].kind, ConflictKind::Binary);
        QVERIFY(outcome.held.at("plain").starts_with("<<<<<<<<< new base\nb\n=========\nc\n"));
    }

    // As git reads its configuration.
    void options()
    {
        using Renames = MergeOptions::DirectoryRenames;
        TempRepository repo(TempRepository::Bare);
        const auto with = [&](const char* name, const char* value) {
            repo.git({"config", name, value});
            const MergeOptions options = MergeOptions::of(repo.open());
            repo.git({"config", "--unset", name});
            return options;
        };
        QCOMPARE(with("diff.renameLimit", "5").renameLimit, 5);
        QCOMPARE(with("merge.renameLimit", "2k").renameLimit, 2048);
        QCOMPARE(with("merge.renameLimit", "many").renameLimit, 7000);
        QVERIFY(with("diff.renames", "copies").renames);
        QVERIFY(!with("diff.renames", "false").renames);
        QCOMPARE(with("merge.directoryRenames", "Conflict").directoryRenames, Renames::Conflict);
        QCOMPARE(with("merge.directoryRenames", "on").directoryRenames, Renames::Follow);
        QCOMPARE(with("merge.directoryRenames", "0").directoryRenames, Renames::Off);
        QCOMPARE(with("merge.directoryRenames", "someday").directoryRenames, Renames::Conflict);
        repo.git({"config", "diff.renameLimit", "3"});
        QCOMPARE(with("merge.renameLimit", "4").renameLimit, 4);
    }

    void nothingToDo()
    {
        const Outcome outcome = merged({{"a", "1\n"}}, {{"b", "2\n"}}, {{"a", "1\n"}});
        QVERIFY(outcome.merge.clean());
        QVERIFY(outcome.merge.touched.empty());
    }

    void damage()
    {
        TempRepository repo(TempRepository::Bare);
        const Repository opened = repo.open();
        ObjectStore store(opened);
        MergeCaches caches;
        const Oid missing = *Oid::parse("0123456789012345678901234567890123456789"), empty = *Oid::parse(emptyTreeHex);
        const auto merge = mergeTrees(store, empty, empty, missing, {}, caches);
        QVERIFY(!merge);
        QCOMPARE(merge.error().kind, ErrorKind::Broken);
    }
};

QTEST_GUILESS_MAIN(TestTreeMerge)
#include "test_tree_merge.moc"

// SPDX-License-Identifier: MIT
// What a folder shows in a question about a whole path, also where it was made to do harm.
#include "core/conflicts/path_sides.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;

class TestPathSides : public QObject {
    Q_OBJECT

    // A commit with these files whose new base has the tree `folder` at "f".
    PathSide newBaseSide(test::TempRepository& repo, const std::string& folder)
    {
        const std::string line = "040000 tree " + folder + "\tf\n";
        ReplayedCommit replayed;
        replayed.id = *Oid::parse(repo.commitFiles({{"other", "x\n"}}, "Commit", {}, "topic"));
        replayed.newBaseTree = *Oid::parse(repo.git({QStringLiteral("mktree")}, QByteArray::fromStdString(line)));
        Conflict conflict;
        conflict.path.path = "f";
        conflict.path.kind = ConflictKind::TypeDiffers;
        replayed.conflicts = {conflict};
        const Repository opened = repo.open();
        ObjectStore store(opened);
        const auto sides = pathSides(store, replayed, conflict, "f");
        return sides ? sides->newBase : PathSide{};
    }

  private Q_SLOTS:
    void lists()
    {
        test::TempRepository repo;
        const std::string commit = repo.commitFiles({{"a", "1\n"}, {"in/b", "2\n"}}, "Folder", {}, "main");
        const PathSide side =
            newBaseSide(repo, repo.git({QStringLiteral("rev-parse"), QString::fromStdString(commit + "^{tree}")}));
        QCOMPARE(side.mode, FileMode::Tree);
        QCOMPARE(side.words, std::string("f, a folder with 2 files"));
        QCOMPARE(side.contents, std::string("f/a\nf/in/b\n"));
    }
    // Twelve trees that stand for 10^11 folders without a file.
    void endsInATreeOfTrees()
    {
        test::TempRepository repo;
        std::string tree = repo.git({QStringLiteral("mktree")}, QByteArray());
        for (int level = 0; level < 12; ++level) {
            std::string lines;
            for (int i = 0; i < 10; ++i)
                lines += "040000 tree " + tree + "\tt" + std::to_string(i) + "\n";
            tree = repo.git({QStringLiteral("mktree")}, QByteArray::fromStdString(lines));
        }
        const PathSide side = newBaseSide(repo, tree);
        QCOMPARE(side.mode, FileMode::Tree);
        QCOMPARE(side.words, std::string("f, a folder with more than 1000 folders"));
    }
};

QTEST_GUILESS_MAIN(TestPathSides)
#include "test_path_sides.moc"

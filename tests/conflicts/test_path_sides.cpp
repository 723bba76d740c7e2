// SPDX-License-Identifier: MIT
// What each side shows in a question about a whole path: a folder, also one that was made to do harm, the commits of a
// submodule, where a link leads, what kind of file it is that is no text, how lines end.
#include "core/conflicts/conflict_text.h"
#include "core/conflicts/file_kind.h"
#include "tests/support/dry_runs.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <filesystem>

using namespace espalier;
using test::Files;

namespace {

struct Sides {
    const char* name;
    Files base, newBase, commit;
    std::string newBaseWords, commitWords;
};

} // namespace

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

    // The one conflict of a topic that makes `commit` of `base` on a main line that makes `newBase` of it.
    static ConflictText conflictOf(test::TempRepository& repo, const Files& base, const Files& newBase,
                                   const Files& commit)
    {
        const std::string root = repo.commitFiles(base, "Base", {}, "main");
        repo.commitFiles(commit, "Mine", {root}, "topic");
        const std::string main = repo.commitFiles(newBase, "Upstream", {root}, "main");
        const Repository opened = repo.open();
        const DryRun run = test::runOf(opened, test::planOf(opened, "topic", main));
        auto text = conflictText(opened, run, 0, 0);
        if (!text)
            qFatal("%s", text.error().line().c_str());
        return std::move(*text);
    }
    static std::string id(const std::string& hex) { return hex.substr(0, 7); }

  private Q_SLOTS:
    void says()
    {
        const std::string nul(1, '\0');
        const std::string png = "\x89PNG\r\n\x1A\n" + nul + "one", zip = "PK\3\4" + nul + "two!";
        const std::string wide("\xFF\xFE"
                               "a\0\n\0",
                               6),
            wideToo("\xFF\xFE"
                    "\xE9\0\n\0"
                    "b\0",
                    8);
        const Files none{{"a", "a\n"}, {"doc/b", "b\n"}};
        const Sides all[] = {
            {"kinds",
             {{"f", nul}},
             {{"f", png}},
             {{"f", zip}},
             "f, a PNG image of 12 bytes",
             "f, a ZIP archive of 9 bytes"},
            {"unknown",
             {{"f", nul}},
             {{"f", nul + "x"}},
             {{"f", nul + "xy"}},
             "f, a file of 2 bytes, no text",
             "f, a file of 3 bytes, no text"},
            {"wide",
             {{"f", nul}},
             {{"f", wide}},
             {{"f", wideToo}},
             "f, a text in UTF-16 of 1 line",
             "f, a text in UTF-16 of 2 lines"},
            {"mode",
             none,
             {{"f", "x\n"}},
             {{"exe:f", "x\n"}},
             "f, a file of 1 line, mode 100644, the same contents on both sides",
             "f, an executable file of 1 line, mode 100755, the same contents on both sides"},
            {"links",
             none,
             {{"link:doc/way", "b"}},
             {{"link:doc/way", "../none"}},
             "doc/way, a symbolic link to doc/b: a file",
             "doc/way, a symbolic link to none: nothing stands there"},
            {"far links",
             none,
             {{"link:way", "../etc"}},
             {{"link:way", "doc/"}},
             "way, a symbolic link that leads out of the repository",
             "way, a symbolic link to doc: a folder"},
            {"no repository",
             {{"sub:part", std::string(40, '1')}},
             {{"sub:part", std::string(40, '2')}},
             {{"sub:part", std::string(40, '3')}},
             "part, a submodule at 2222222; its repository is not here, so its commits have no names",
             "part, a submodule at 3333333; its repository is not here, so its commits have no names"},
        };
        for (const Sides& one : all) {
            test::TempRepository repo;
            const ConflictText text = conflictOf(repo, one.base, one.newBase, one.commit);
            QVERIFY2(text.wholePath, one.name);
            QCOMPARE(text.sides.newBase.words, one.newBaseWords);
            QCOMPARE(text.sides.commit.words, one.commitWords);
        }
        // What is UTF-16 is read as text.
        test::TempRepository repo;
        const ConflictText text = conflictOf(repo, {{"f", nul}}, {{"f", wide}}, {{"f", wideToo}});
        QCOMPARE(text.sides.newBase.contents, std::string("a\n"));
        QCOMPARE(text.sides.commit.contents, std::string("\xC3\xA9\nb"));
        QVERIFY(!text.sides.commit.binary);
    }

    void readsUtf16()
    {
        QCOMPARE(textOfUtf16(std::string("\xFE\xFF\xD8\x3C\xDF\x33", 6)).value(), std::string("\xF0\x9F\x8C\xB3"));
        QCOMPARE(textOfUtf16(std::string("\xFE\xFF\x20\x26", 4)).value(), std::string("\xE2\x80\xA6"));
        QVERIFY(!textOfUtf16(std::string("\xFE\xFF\xD8\x3C", 4)));         // half a pair
        QVERIFY(!textOfUtf16(std::string("\xFE\xFF\xDF\x33\x00\x41", 6))); // the other half
        QVERIFY(!textOfUtf16("ab"));
        QVERIFY(!textOfUtf16("\xFE\xFF"
                             "a"));
    }

    // A submodule's commits have names where its repository is, under the name that .gitmodules gives it.
    void namesTheCommitsOfASubmodule()
    {
        test::TempRepository part;
        const std::string root = part.commitFiles({{"p", "0\n"}}, "Root", {}, "main");
        const std::string ours = part.commitFiles({{"p", "1\n"}}, "Oil the hinge", {root}, "ours");
        const std::string more = part.commitFiles({{"p", "2\n"}}, "Paint it", {ours}, "ours");
        const std::string other = part.commitFiles({{"p", "3\n"}}, "Turn it", {root}, "other");
        const std::string modules = "[submodule \"the part\"]\n\tpath = lib/part\n\turl = ../part\n";
        const auto sidesOf = [&](const std::string& newBase, const std::string& commit, bool here) {
            test::TempRepository repo;
            if (here)
                repo.git({"clone", "-q", "--bare", part.path(), ".git/modules/the part"});
            return conflictOf(repo, {{".gitmodules", modules}, {"sub:lib/part", std::string(40, '1')}},
                              {{"sub:lib/part", newBase}}, {{"sub:lib/part", commit}})
                .sides;
        };
        PathSides sides = sidesOf(more, other, true);
        QCOMPARE(sides.newBase.words,
                 "lib/part, a submodule at " + id(more) + " Paint it; 2 commits that your commit's has not");
        QCOMPARE(sides.commit.words,
                 "lib/part, a submodule at " + id(other) + " Turn it; 1 commit that the new base's has not");
        const QStringList lines = QString::fromStdString(sides.newBase.contents).split('\n');
        QCOMPARE(lines.size(), 3);
        QVERIFY(lines[0].startsWith(QString::fromStdString(id(more) + " Paint it (")));
        QVERIFY(lines[1].startsWith(QString::fromStdString(id(ours) + " Oil the hinge (")));
        QVERIFY2(lines[0].endsWith(QStringLiteral("2023-11-14)")), qPrintable(lines[0]));
        // One of them goes on from the other.
        sides = sidesOf(ours, more, true);
        QCOMPARE(sides.newBase.words,
                 "lib/part, a submodule at " + id(ours) + " Oil the hinge; your commit's has all of it");
        QCOMPARE(sides.commit.words, "lib/part, a submodule at " + id(more) +
                                         " Paint it; 1 commit that the new base's has not, and all of its");
        // A commit that was never fetched.
        sides = sidesOf(std::string(40, '2'), more, true);
        QVERIFY(sides.newBase.words.starts_with(
            "lib/part, a submodule at 2222222, a commit that its repository here lacks"));
        QCOMPARE(sides.commit.words, "lib/part, a submodule at " + id(more) + " Paint it");
        QVERIFY(sidesOf(ours, more, false).commit.words.contains("its repository is not here"));
    }

    // A name that leads out of the folder for submodules is not followed.
    void staysInItsFolder()
    {
        test::TempRepository part;
        const std::string one = part.commitFiles({{"p", "0\n"}}, "Secret", {}, "main");
        test::TempRepository repo;
        std::filesystem::create_directories(repo.fsPath() / ".git" / "modules");
        repo.git({"clone", "-q", "--bare", part.path(), ".git/elsewhere"});
        const ConflictText text = conflictOf(
            repo,
            {{".gitmodules", "[submodule \"../elsewhere\"]\n\tpath = part\n"}, {"sub:part", std::string(40, '1')}},
            {{"sub:part", one}}, {{"sub:part", std::string(40, '3')}});
        QVERIFY(text.sides.newBase.words.contains("its repository is not here"));
    }

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

// SPDX-License-Identifier: MIT
//
// Nothing is written outside the worktree, whatever the trees, the worktree and other programs make of the paths. The
// reference for what a worktree holds afterwards is git itself (status, checkout).
#include "core/keep/apply.h"
#include "core/keep/apply_steps.h"
#include "core/keep/worktree_session.h"
#include "tests/support/replay_scene.h"

#include <QDir>
#include <QFile>
#include <fstream>

#include <QtTest/QtTest>

#include <unistd.h>

using namespace espalier;
using namespace espalier::test;

namespace {

namespace fs = std::filesystem;

// A clone beside a folder that is none of its business.
struct Scene {
    TempRepository repo;
    fs::path victim;

    Scene()
    {
        victim = fs::path(repo.outside().toStdString()) / "victim";
        fs::create_directories(victim / "inner");
        QFile file(QString::fromStdString((victim / "kept.txt").string()));
        if (!file.open(QIODevice::WriteOnly) || file.write("kept\n") < 0)
            qFatal("the victim cannot be made");
    }
    std::string add(const Files& files, const char* branch, const std::vector<std::string>& parents = {})
    {
        return repo.commitFiles(files, branch, parents, branch);
    }
    void checkOutWithGit(const char* branch) const
    {
        repo.git({"checkout", "--quiet", "--force", branch});
        repo.git({"clean", "-ffdxq"});
    }
    std::string status() const { return repo.git({"status", "--porcelain", "--ignore-submodules=none"}); }
    std::map<std::string, std::string> worktree() const
    {
        auto state = folderState(repo.fsPath());
        std::erase_if(state, [](const auto& each) { return each.first == ".git" || each.first.starts_with(".git/"); });
        return state;
    }
};

std::string treeWith(const TempRepository& repo, const std::string& mode, const std::string& name,
                     const std::string& id)
{
    const Oid raw = *Oid::parse(id);
    return repo.writeRaw("tree",
                         mode + ' ' + name + '\0' + std::string(reinterpret_cast<const char*>(raw.bytes.data()), 20));
}

std::string commitOf(const TempRepository& repo, const std::string& tree, const char* branch)
{
    const std::string id = repo.writeRaw("commit", "tree " + tree +
                                                       "\nauthor A <a@example.org> 1700000000 +0000\ncommitter A "
                                                       "<a@example.org> 1700000000 +0000\n\nMade to do harm\n");
    repo.git({"update-ref", QString("refs/heads/") + branch, QString::fromStdString(id)});
    return id;
}

} // namespace

class TestWorktreeFiles : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    // A session that was moved from has nothing to clear away, least of all in the folder that the program stands in.
    void aMovedSessionClearsItsOwn()
    {
        Scene scene;
        scene.add({{"file", "one\n"}}, "main");
        scene.checkOutWithGit("main");
        const fs::path before = fs::current_path();
        fs::current_path(scene.victim);
        std::ofstream(scene.victim / "index.espalier") << "somebody's\n";
        const fs::path copy = scene.repo.fsPath() / ".git/index.espalier";
        {
            auto begun = WorktreeSession::begin(scene.repo.fsPath());
            if (begun) {
                const WorktreeSession moved = std::move(*begun);
                begun = std::unexpected(Error{});
                QVERIFY(fs::exists(copy));
            }
        }
        fs::current_path(before);
        QVERIFY(fs::exists(scene.victim / "index.espalier"));
        QVERIFY(!fs::exists(copy));
        QVERIFY(!fs::exists(scene.repo.fsPath() / ".git/index.lock"));
    }

    void cleanup() { setApplyStepCallback({}); }

    void kindsOfThings_data()
    {
        using Row = std::pair<Files, Files>;
        QTest::addColumn<Row>("row");
        const std::string sub(40, '1');
        const std::string deep = "sub:a/b/c/d";
        QTest::newRow("symlink becomes a submodule's parent") << Row{{{"link:a", "../victim"}}, {{"sub:a/b", sub}}};
        QTest::newRow("symlink becomes far up of a submodule") << Row{{{"link:a", "../victim"}}, {{deep, sub}}};
        QTest::newRow("symlink becomes a submodule") << Row{{{"link:a", "../victim/inner"}}, {{"sub:a", sub}}};
        QTest::newRow("submodule becomes a symlink") << Row{{{"sub:a", sub}}, {{"link:a", "../victim/inner"}}};
        QTest::newRow("submodule's parent becomes a symlink") << Row{{{"sub:a/inner", sub}}, {{"link:a", "../victim"}}};
        QTest::newRow("symlink becomes a folder") << Row{{{"link:a", "../victim"}}, {{"a/kept.txt", "mine\n"}}};
        QTest::newRow("folder becomes a symlink") << Row{{{"a/kept.txt", "mine\n"}}, {{"link:a", "../victim"}}};
        QTest::newRow("symlink becomes a file") << Row{{{"link:a", "../victim/kept.txt"}}, {{"a", "mine\n"}}};
        QTest::newRow("file becomes a symlink") << Row{{{"a", "mine\n"}}, {{"link:a", "../victim/kept.txt"}}};
        QTest::newRow("symlink leads elsewhere") << Row{{{"link:a", "../victim"}}, {{"link:a", "/nowhere/at/all"}}};
        QTest::newRow("file becomes a submodule") << Row{{{"a", "mine\n"}}, {{"sub:a/b", sub}}};
        QTest::newRow("submodule becomes a folder") << Row{{{"sub:a", sub}}, {{"a/b/c", "mine\n"}}};
        QTest::newRow("mode") << Row{{{"a", "mine\n"}}, {{"exe:a", "mine\n"}}};
        QTest::newRow("attributes of the new side")
            << Row{{{"b.txt", "one\n"}, {"z/c.txt", "1\n"}},
                   {{"b.txt", "two\n"}, {"z/c.txt", "2\n"}, {"z/.gitattributes", "* eol=crlf\n"}}};
    }
    // There and back; each time as git leaves it.
    void kindsOfThings()
    {
        using Row = std::pair<Files, Files>;
        QFETCH(Row, row);
        Scene scene;
        row.first["stays"] = row.second["stays"] = "same\n";
        scene.add(row.first, "main");
        scene.add(row.second, "other");
        scene.checkOutWithGit("other");
        const auto other = scene.worktree();
        scene.checkOutWithGit("main");
        const auto main = scene.worktree();
        const auto victim = folderState(scene.victim);
        Repository clone = scene.repo.open();
        for (const auto& [branch, wanted] : {std::pair("other", &other), std::pair("main", &main)}) {
            const auto there = checkOut(clone, branch);
            QVERIFY2(there, there ? "" : there.error().line().c_str());
            QCOMPARE(folderState(scene.victim), victim);
            QCOMPARE(scene.worktree(), *wanted);
            QCOMPARE(scene.status(), "");
        }
    }

    void untrackedInTheWayOfASubmodule_data()
    {
        QTest::addColumn<QString>("what");
        for (const char* what : {"file", "link", "parent-file", "parent-link"})
            QTest::newRow(what) << what;
    }
    void untrackedInTheWayOfASubmodule()
    {
        QFETCH(QString, what);
        Scene scene;
        scene.add({{"stays", "same\n"}}, "main");
        scene.add({{"stays", "same\n"}, {"sub:a/b", std::string(40, '1')}}, "other");
        scene.checkOutWithGit("main");
        const QString path = scene.repo.path();
        if (what == "file")
            scene.repo.writeFile("a/b", "untracked\n");
        else if (what == "parent-file")
            scene.repo.writeFile("a", "untracked\n");
        else if (what == "link")
            QVERIFY(QDir(path).mkdir("a") && QFile::link("../../victim", path + "/a/b"));
        else
            QVERIFY(QFile::link("../victim", path + "/a"));
        Repository clone = scene.repo.open();
        const auto before = folderState(scene.repo.outside().toStdString());
        const auto refused = checkOut(clone, "other");
        QVERIFY(!refused);
        QCOMPARE(refused.error().kind, ErrorKind::Refused);
        QCOMPARE(folderState(scene.repo.outside().toStdString()), before);
    }

    // Names that a tree can hold and no worktree may: git's verify_path refuses them (read-cache.c), see test_names.
    void harmfulNames_data()
    {
        QTest::addColumn<QByteArray>("name");
        QTest::addColumn<QString>("mode");
        for (const char* mode : {"100644", "120000", "160000", "40000"})
            for (const QByteArray name :
                 {"..", ".", ".git", ".GIT", ".Git", "git~1", ".git ", ".git.", ".git\xe2\x80\x8c", ".g\xe2\x80\x8dit",
                  "../victim", "a/../../victim", "/tmp", ".git\\config", ".git::$INDEX_ALLOCATION"})
                QTest::addRow("%s %s", mode, name.constData()) << name << mode;
    }
    void harmfulNames()
    {
        QFETCH(QByteArray, name);
        QFETCH(QString, mode);
        Scene scene;
        scene.add({{"stays", "same\n"}}, "main");
        scene.checkOutWithGit("main");
        const std::string blob = scene.repo.writeRaw("blob", "../victim");
        const std::string inside = treeWith(scene.repo, "100644", "hooks", blob);
        const std::string id = mode == "160000" ? std::string(40, '1') : mode == "40000" ? inside : blob;
        const std::string tree = treeWith(scene.repo, mode.toStdString(), name.toStdString(), id);
        commitOf(scene.repo, treeWith(scene.repo, "40000", "folder", tree), "deep");
        commitOf(scene.repo, tree, "top");
        Repository clone = scene.repo.open();
        const auto before = folderState(scene.repo.outside().toStdString());
        for (const char* branch : {"top", "deep"}) {
            const auto refused = checkOut(clone, branch);
            QVERIFY(!refused);
            QVERIFY(!refused.error().what.empty());
            QCOMPARE(folderState(scene.repo.outside().toStdString()), before);
        }
    }

    // Another program puts a symlink where a folder was, after everything was looked at.
    // A move that is refused half way goes back, and what git was told not to look at it is still told not to look at: also where
    // that file itself is what another program has saved meanwhile.
    void aLateRefusalKeepsTheMarks_data()
    {
        QTest::addColumn<QString>("mark");
        QTest::addColumn<QString>("saved");
        for (const char* mark : {"assume-unchanged", "skip-worktree"})
            for (const char* saved : {"a", "z"})
                QTest::addRow("%s, %s is saved", mark, saved) << mark << saved;
    }
    void aLateRefusalKeepsTheMarks()
    {
        QFETCH(QString, mark);
        QFETCH(QString, saved);
        Scene scene;
        scene.add({{"a", "1\n"}, {"z", "1\n"}}, "main");
        scene.add({{"a", "2\n"}, {"z", "2\n"}}, "other");
        scene.checkOutWithGit("main");
        scene.repo.git({"update-index", "--" + mark, "a"});
        const std::string before = scene.repo.git({"ls-files", "-v", "-s"});
        bool isSaved = false;
        setApplyStepCallback([&](ApplyStep step) {
            const ApplyStep when = saved == "a" ? ApplyStep::PathsChecked : ApplyStep::FileMoved;
            if (step == when && !std::exchange(isSaved, true))
                scene.repo.writeFile(saved.toStdString(), "saved meanwhile\n");
        });
        Repository clone = scene.repo.open();
        const auto refused = checkOut(clone, "other");
        QVERIFY(isSaved && !refused);
        QVERIFY2(refused.error().line().contains(saved.toStdString()), refused.error().line().c_str());
        QCOMPARE(scene.repo.git({"ls-files", "-v", "-s"}), before);
        QCOMPARE(scene.repo.readFile("a"), saved == "a" ? "saved meanwhile\n" : "1\n");
        QCOMPARE(scene.repo.readFile("z"), saved == "z" ? "saved meanwhile\n" : "1\n");
        QCOMPARE(scene.repo.git({"symbolic-ref", "HEAD"}), "refs/heads/main");
        // What follows is not blocked: with the marks off git sees what was saved, and nothing else.
        scene.repo.git({"update-index", "--no-" + mark, "a"});
        QCOMPARE(scene.status(), " M " + saved.toStdString());
    }

    void folderSwappedMeanwhile_data()
    {
        QTest::addColumn<QString>("what");
        for (const char* what : {"write", "remove", "submodule"})
            QTest::newRow(what) << what;
    }
    void folderSwappedMeanwhile()
    {
        QFETCH(QString, what);
        Scene scene;
        const Files first{{"a", "1\n"}, {"d/kept.txt", "kept\n"}, {"stays", "same\n"}};
        Files second{{"a", "2\n"}, {"stays", "same\n"}};
        if (what == "write")
            second["d/kept.txt"] = "changed\n";
        else if (what == "submodule")
            second = {
                {"a", "2\n"}, {"d/kept.txt", "kept\n"}, {"sub:d/inner/sub", std::string(40, '1')}, {"stays", "same\n"}};
        scene.add(first, "main");
        scene.add(second, "other");
        scene.checkOutWithGit("main");
        const auto victim = folderState(scene.victim);
        const fs::path folder = scene.repo.fsPath() / "d", aside = scene.repo.fsPath() / "d-aside";
        bool swapped = false;
        setApplyStepCallback([&](ApplyStep step) {
            const ApplyStep when = what == "remove" ? ApplyStep::PathsChecked : ApplyStep::FileMoved;
            if (step != when || swapped)
                return;
            swapped = true;
            fs::rename(folder, aside);
            fs::create_directory_symlink(scene.victim, folder);
        });
        Repository clone = scene.repo.open();
        const auto refused = checkOut(clone, "other");
        QVERIFY(swapped);
        QVERIFY(!refused);
        QCOMPARE(folderState(scene.victim), victim);
        QCOMPARE(folderState(aside).at("kept.txt"), folderState(scene.victim).at("kept.txt"));
        QCOMPARE(scene.repo.git({"symbolic-ref", "HEAD"}), "refs/heads/main");
    }
};

QTEST_GUILESS_MAIN(TestWorktreeFiles)
#include "test_worktree_files.moc"

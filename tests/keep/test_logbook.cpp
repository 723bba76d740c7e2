// SPDX-License-Identifier: MIT
//
// The logbook's files: written whole, read with suspicion. And branches where there is little to stand on.
#include "core/keep/apply.h"
#include "tests/support/replay_scene.h"

#include <QFile>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

class TestLogbook : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void everythingComesBack()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        LogbookEntry entry;
        entry.kind = EntryKind::Push;
        entry.title = "Push topic/x\nto \x1b[31morigin";
        entry.remote = "bytes \xff";
        entry.folders = {"/srv/mira/tide \xfe.git"};
        entry.moves = {{"refs/heads/topic/x", oid(scene.topic[0]), oid(scene.topic[1])},
                       {"refs/heads/new", Oid{}, oid(scene.main)}};
        entry.pairs = {{oid(scene.topic[0]), oid(scene.topic[1])}};
        entry.branchConfig = {{"branch.x.merge", "refs/heads/\xfe"}};
        const auto begun = beginEntry(clone, entry);
        QVERIFY2(begun, begun ? "" : begun.error().line().c_str());
        const auto read = findEntry(clone, begun->id);
        QVERIFY(read);
        QCOMPARE(read->state, EntryState::Begun);
        QCOMPARE(read->remote, entry.remote);
        QCOMPARE(read->folders, entry.folders);
        QCOMPARE(read->moves, entry.moves);
        QCOMPARE(read->pairs, entry.pairs);
        QCOMPARE(read->branchConfig, entry.branchConfig);
        QVERIFY(!read->title.contains('\n') && !read->title.contains('\x1b'));
        QCOMPARE(scene.repo.git({"for-each-ref", "--format=%(refname) %(objectname)", "refs/espalier"}),
                 keptRef(begun->id, 0) + " " + scene.topic[0]);
        QVERIFY(!forgetEntry(clone, begun->id)); // not while it is open
        QVERIFY(setEntryState(clone, *begun, EntryState::Done));
        QVERIFY(forgetEntry(clone, begun->id));
        QCOMPARE(scene.repo.git({"for-each-ref", "refs/espalier"}), "");
        QVERIFY(!findEntry(clone, begun->id));
    }

    void whatChangesNothingLeavesNoEntry()
    {
        ReplayScene scene;
        Rewrite rewrite = scene.rewrite();
        rewrite.moves = {{"refs/heads/topic/x", oid(scene.topic[1]), oid(scene.topic[1])}};
        const auto applied = apply(scene.repo.open(), rewrite);
        QVERIFY2(applied, applied ? "" : applied.error().line().c_str());
        QVERIFY(applied->entry.id.empty() && applied->notices.size() == 1);
        QVERIFY(readLogbook(scene.repo.open())->empty());
    }

    void newestFirstAndTheNumberCounts()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        std::vector<std::string> ids;
        for (int i = 0; i < 12; ++i) {
            LogbookEntry entry;
            entry.title = "Entry";
            const auto begun = beginEntry(clone, entry);
            QVERIFY(begun);
            ids.insert(ids.begin(), begun->id);
        }
        std::vector<std::string> read;
        const auto entries = readLogbook(clone).value();
        for (const LogbookEntry& entry : entries)
            read.push_back(entry.id);
        QCOMPARE(read, ids);
    }

    void damagedFilesArePassedOver()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        const auto applied = apply(clone, scene.rewrite());
        QVERIFY(applied);
        const std::string folder = ".git/espalier/logbook/";
        const std::string good = scene.repo.readFile(folder + applied->entry.id + ".json");
        scene.repo.writeFile(folder + "20200101-000000-1.json", good); // another entry's text
        scene.repo.writeFile(folder + "20200101-000000-2.json", good.substr(0, good.size() / 2));
        scene.repo.writeFile(folder + "20200101-000000-3.json", std::string(1000000, '['));
        scene.repo.writeFile(folder + "20200101-000000-4.json", "");
        scene.repo.writeFile(folder + "20200101-000000-5.json", std::string(std::size_t(17) << 20, ' '));
        scene.repo.writeFile(folder + "..evil.json", good);
        std::vector<std::string> notices;
        const auto entries = readLogbook(clone, &notices);
        QVERIFY(entries);
        QCOMPARE(entries->size(), std::size_t(1));
        QCOMPARE(notices.size(), std::size_t(6));
        for (const char* id : {"../../config", "20200101-000000-1/../x", "", "20200101-000000-9"})
            QVERIFY(!findEntry(clone, id));
    }

    void unbornAndDetached()
    {
        TempRepository repo;
        repo.writeFile("a.txt", "mine, not committed\n");
        const std::string commit = repo.commitFiles({{"a.txt", "one\n"}, {"b.txt", "b\n"}}, "One", {}, "other");
        Repository clone = repo.open();
        const auto refused = checkOut(clone, "other");
        QVERIFY(!refused);
        QVERIFY(refused.error().line().contains("a.txt"));
        QCOMPARE(repo.readFile("a.txt"), "mine, not committed\n");
        QVERIFY(QFile::remove(repo.path() + "/a.txt"));
        const auto there = checkOut(clone, "other");
        QVERIFY2(there, there ? "" : there.error().line().c_str());
        QCOMPARE(repo.git({"status", "--porcelain"}), "");
        QVERIFY(checkOutDetached(clone, oid(commit)));
        repo.git({"commit", "--quiet", "--allow-empty", "-m", "On nothing"});
        const std::string loose = repo.git({"rev-parse", "HEAD"});
        const auto back = checkOut(clone, "other");
        QVERIFY2(back, back ? "" : back.error().line().c_str());
        // The commit that no branch had is the logbook's now.
        repo.git({"reflog", "expire", "--expire=now", "--all"});
        repo.git({"gc", "--quiet", "--prune=now"});
        repo.git({"cat-file", "-e", QString::fromStdString(loose)});
        QVERIFY(restore(clone, back->entry.id));
        QCOMPARE(repo.git({"rev-parse", "HEAD"}), loose);
        QVERIFY(!deleteBranch(clone, "missing"));
        QVERIFY(!createBranch(clone, "no..good", oid(commit), false));
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestLogbook test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_logbook.moc"

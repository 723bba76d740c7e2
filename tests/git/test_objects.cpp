// SPDX-License-Identifier: MIT
#include "core/git/commit.h"
#include "core/git/objects.h"
#include "core/git/tree.h"
#include "tests/support/temp_repository.h"

#include <format>

#include <QDir>
#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

Person mira() { return {"Mira Holm", "mira@example.org", 1700000000, 60}; }

// A history of `commits` commits, each of one new file among the files before it, as new objects. Returns the tip.
Oid makeHistory(NewObjects& objects, int commits)
{
    std::vector<std::string> names;
    std::vector<TreeEntry> entries;
    names.reserve(std::size_t(commits));
    Commit commit;
    for (int i = 0; i < commits; ++i) {
        names.push_back(std::format("file-{:04}", i));
        entries.push_back({names.back(), FileMode::File, objects.add(ObjectType::Blob, names.back() + " says so\n")});
        commit.tree = objects.add(ObjectType::Tree, formatTree(entries));
        commit.author = commit.committer = mira();
        commit.message = "Add " + names.back() + "\n";
        commit.parents = {objects.add(ObjectType::Commit, formatCommit(commit))};
    }
    return commit.parents.front();
}

QStringList packsOf(const TempRepository& repo)
{
    return QDir(repo.path() + "/objects/pack").entryList({"*.pack"}, QDir::Files);
}

} // namespace

#ifdef __SANITIZE_ADDRESS__
// libgit2 1.9 does not free the deltas it has computed when its pack cannot be written (readOnlyFolderIsOneLine()).
extern "C" const char* __lsan_default_suppressions() { return "leak:libgit2.so\n"; } // NOLINT: the sanitizer's name
#endif

class TestObjects : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void hashIsGits_data();
    void hashIsGits();
    void newObjects();
    void writtenAndFsckClean_data();
    void writtenAndFsckClean();
    void writingTwiceAddsNothing();
    void stoppedWritesNothing();
    void readOnlyFolderIsOneLine();
    void anotherReaderSeesTheSame();
    void storeReads();
    void storeCacheIsBounded();
    void storeSeesNewPacks();
};

void TestObjects::hashIsGits_data()
{
    QTest::addColumn<int>("type");
    QTest::addColumn<QByteArray>("bytes");
    QTest::newRow("empty blob") << int(ObjectType::Blob) << QByteArray();
    QTest::newRow("text") << int(ObjectType::Blob) << QByteArray("one\ntwo\n");
    QTest::newRow("binary") << int(ObjectType::Blob) << QByteArray("\0\xff\r\n\0", 5);
    QTest::newRow("a megabyte") << int(ObjectType::Blob) << QByteArray(1 << 20, 'x');
    QTest::newRow("commit") << int(ObjectType::Commit) << QByteArray("tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\n\n");
    QTest::newRow("tag") << int(ObjectType::Tag) << QByteArray("object 4b825dc642cb6eb9a060e54bf8d69288fbee4904\n");
}

// Reference: git hash-object.
void TestObjects::hashIsGits()
{
    QFETCH(int, type);
    QFETCH(QByteArray, bytes);
    static const char* const names[] = {"", "commit", "tree", "blob", "tag"};
    static TempRepository repo;
    const std::string reference = repo.git({"hash-object", "--stdin", "--literally", "-t", names[type]}, bytes);
    QCOMPARE(hashObject(ObjectType(type), bytes.toStdString()).hex(), reference);
}

void TestObjects::newObjects()
{
    NewObjects objects;
    const Oid one = objects.add(ObjectType::Blob, "one");
    const Oid two = objects.add(ObjectType::Blob, "three");
    QCOMPARE(objects.add(ObjectType::Blob, "one"), one);
    QCOMPARE(objects.count(), std::size_t(2));
    QCOMPARE(objects.bytes(), std::size_t(8));
    QCOMPARE(objects.ids(), (std::vector<Oid>{one, two}));
    QVERIFY(objects.find(one));
    QCOMPARE(objects.find(one)->view(), "one");
    QVERIFY(!objects.find(Oid{}));
    NewObjects copy(objects);
    copy.add(ObjectType::Blob, "four");
    QCOMPARE(objects.count(), std::size_t(2));
    QCOMPARE(copy.count(), std::size_t(3));
}

void TestObjects::writtenAndFsckClean_data()
{
    QTest::addColumn<int>("commits");
    QTest::addColumn<bool>("packed");
    QTest::newRow("a few, loose") << 3 << false;
    QTest::newRow("many, one pack") << 200 << true;
}

void TestObjects::writtenAndFsckClean()
{
    QFETCH(int, commits);
    QFETCH(bool, packed);
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    const Oid tip = makeHistory(objects, commits);
    const auto written = writeObjects(repo.open(), objects);
    QVERIFY2(written, written ? "" : written.error().line().c_str());
    QCOMPARE(packsOf(repo).size(), packed ? 1 : 0);
    repo.git({"update-ref", "refs/heads/main", QString::fromStdString(tip.hex())});
    const test::GitRun fsck = repo.tryGit({"fsck", "--strict", "--full", "--no-dangling"});
    QCOMPARE(fsck.exitCode, 0);
    QCOMPARE(fsck.err + fsck.out, QByteArray());
    QCOMPARE(repo.git({"rev-list", "--count", "main"}), std::to_string(commits));
    QCOMPARE(repo.git({"rev-list", "--objects", "--all", "--count"}), std::to_string(objects.count()));
}

void TestObjects::writingTwiceAddsNothing()
{
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    makeHistory(objects, 100);
    const Repository opened = repo.open();
    QVERIFY(writeObjects(opened, objects));
    const auto before = test::folderState(repo.fsPath());
    QVERIFY(writeObjects(opened, objects));
    QCOMPARE(test::folderState(repo.fsPath()), before);
}

void TestObjects::stoppedWritesNothing()
{
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    makeHistory(objects, 100);
    const auto before = test::folderState(repo.fsPath());
    std::stop_source source;
    Progress progress{source.get_token(), [&](std::string_view, std::uint64_t done, std::uint64_t total) {
                          QCOMPARE(total, std::uint64_t(300));
                          if (done == 250)
                              source.request_stop();
                      }};
    const auto written = writeObjects(repo.open(), objects, progress);
    QVERIFY(!written);
    QCOMPARE(written.error().kind, ErrorKind::Cancelled);
    QCOMPARE(test::folderState(repo.fsPath()), before);
}

void TestObjects::readOnlyFolderIsOneLine()
{
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    makeHistory(objects, 100);
    const Repository opened = repo.open();
    // A file where the folder of packs should be stops even the superuser, whom permissions do not.
    QVERIFY(QDir(repo.path() + "/objects/pack").removeRecursively());
    repo.writeFile("objects/pack", "in the way");
    const auto written = writeObjects(opened, objects);
    QVERIFY(!written);
    const std::string line = written.error().line();
    QVERIFY2(line.starts_with("The new commits cannot be written") && line.contains("Nothing was changed"), line.c_str());
    QVERIFY(!line.contains('\n'));
}

// Reference: dulwich, an independent reader of the format.
void TestObjects::anotherReaderSeesTheSame()
{
    const char* const script = "import sys\n"
                               "from dulwich.repo import Repo\n"
                               "repo = Repo(sys.argv[1])\n"
                               "commit = repo[sys.argv[2].encode()]\n"
                               "tree = repo[commit.tree]\n"
                               "print(commit.author.decode(), commit.author_time, commit.author_timezone)\n"
                               "print(commit.message.decode(), end='')\n"
                               "for entry in tree.items():\n"
                               "    print(oct(entry.mode), entry.path.decode(), repo[entry.sha].data.decode(), end='')\n";
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    const Oid tip = makeHistory(objects, 40);
    QVERIFY(writeObjects(repo.open(), objects));
    test::GitRun run;
    for (const char* python : {"/usr/bin/python3", "python3"}) {
        run = test::runProgram(python, {"-c", script, repo.path(), QString::fromStdString(tip.hex())}, repo.path());
        if (run.exitCode == 0 || !run.err.contains("ModuleNotFoundError"))
            break;
    }
    if (run.exitCode == -1 || run.err.contains("ModuleNotFoundError"))
        QSKIP("python3-dulwich is not installed");
    QCOMPARE(run.err, QByteArray());
    const QList<QByteArray> lines = run.out.trimmed().split('\n');
    QCOMPARE(lines.size(), qsizetype(42));
    QCOMPARE(lines[0], QByteArray("Mira Holm <mira@example.org> 1700000000 3600"));
    QCOMPARE(lines[1], QByteArray("Add file-0039"));
    QCOMPARE(lines[2], QByteArray("0o100644 file-0000 file-0000 says so"));
    QCOMPARE(lines[41], QByteArray("0o100644 file-0039 file-0039 says so"));
}

void TestObjects::storeReads()
{
    TempRepository repo;
    const std::string commit = repo.commitFiles({{"a.txt", "one\n"}}, "First\n", {}, "main");
    const std::string blob = repo.git({"rev-parse", "main:a.txt"});
    const Repository opened = repo.open();
    ObjectStore store(opened);
    const auto object = store.read(*Oid::parse(blob));
    QVERIFY(object);
    QCOMPARE(object->type, ObjectType::Blob);
    QCOMPARE(object->view(), "one\n");
    QCOMPARE(store.read(*Oid::parse(blob))->bytes.get(), object->bytes.get()); // the cache's own, no copy
    QCOMPARE(store.read(*Oid::parse(commit))->view(), repo.readRaw("commit", commit));
    QVERIFY(!store.read(*Oid::parse(blob), ObjectType::Tree));
    QCOMPARE(store.size(*Oid::parse(blob)).value(), std::uint64_t(4));
    QVERIFY(store.contains(*Oid::parse(blob)));
    // In every repository, written or not.
    QCOMPARE(store.read(*Oid::parse(emptyTreeHex), ObjectType::Tree)->view(), "");

    const Oid nowhere = *Oid::parse("1234567890123456789012345678901234567890");
    QVERIFY(!store.contains(nowhere));
    const auto missing = store.read(nowhere);
    QVERIFY(!missing);
    QCOMPARE(missing.error().kind, ErrorKind::Broken);
    QCOMPARE(missing.error().on, nowhere.hex());

    const auto before = test::folderState(repo.fsPath());
    const Oid fresh = store.add(ObjectType::Blob, "fresh");
    QCOMPARE(store.read(fresh)->view(), "fresh");
    QCOMPARE(store.size(fresh).value(), std::uint64_t(5));
    QCOMPARE(test::folderState(repo.fsPath()), before);
    store.forgetFresh();
    QVERIFY(!store.read(fresh));
}

void TestObjects::storeCacheIsBounded()
{
    TempRepository repo;
    std::vector<Oid> ids;
    for (char c = 'a'; c <= 'z'; ++c)
        ids.push_back(*Oid::parse(repo.writeRaw("blob", std::string(1000, c))));
    const Repository opened = repo.open();
    ObjectStore store(opened, 8192);
    std::vector<std::weak_ptr<const std::string>> seen;
    for (int round = 0; round < 2; ++round)
        for (std::size_t i = 0; i < ids.size(); ++i) {
            const auto object = store.read(ids[i]);
            QVERIFY(object);
            QCOMPARE(object->view(), std::string(1000, char('a' + i)));
            seen.push_back(object->bytes);
        }
    std::size_t held = 0;
    for (const auto& bytes : seen)
        held += bytes.expired() ? 0 : 1000;
    QVERIFY2(held > 0 && held <= 8192, std::to_string(held).c_str());
}

// A fetch by another program while the store is open.
void TestObjects::storeSeesNewPacks()
{
    TempRepository repo;
    repo.commitFiles({{"a.txt", "one\n"}}, "First\n", {}, "main");
    const Repository opened = repo.open();
    ObjectStore store(opened);
    QVERIFY(store.read(*Oid::parse(repo.git({"rev-parse", "main"}))));
    test::BulkHistory bulk;
    int last = 0;
    for (int i = 0; i < 120; ++i)
        last = bulk.commit("more", last ? std::vector{last} : std::vector<int>{}, {{"b.txt", std::to_string(i)}}, "More\n");
    const auto ids = bulk.import(repo);
    repo.git({"repack", "-adq"});
    const auto found = store.read(*Oid::parse(ids.back()), ObjectType::Commit);
    QVERIFY2(found, found ? "" : found.error().line().c_str());
}

QTEST_GUILESS_MAIN(TestObjects)
#include "test_objects.moc"

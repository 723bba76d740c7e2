// SPDX-License-Identifier: MIT
#include "core/git/commit.h"
#include "core/git/objects.h"
#include "core/tree/entry.h"
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
    void storeReadsOnUnderARepack();
    void storeReadsThroughAlternates();
    void bigObjects();
    void damagedPackGivesNoWrongBytes();
};

void TestObjects::hashIsGits_data()
{
    QTest::addColumn<int>("type");
    QTest::addColumn<QByteArray>("bytes");
    QTest::newRow("empty blob") << int(ObjectType::Blob) << QByteArray();
    QTest::newRow("text") << int(ObjectType::Blob) << QByteArray("one\ntwo\n");
    QTest::newRow("binary") << int(ObjectType::Blob) << QByteArray("\0\xff\r\n\0", 5);
    QTest::newRow("a megabyte") << int(ObjectType::Blob) << QByteArray(1 << 20, 'x');
    QTest::newRow("commit") << int(ObjectType::Commit)
                            << QByteArray("tree 4b825dc642cb6eb9a060e54bf8d69288fbee4904\n\n");
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
    QVERIFY2(line.starts_with("The new commits cannot be written") && line.contains("Nothing was changed"),
             line.c_str());
    QVERIFY(!line.contains('\n'));
}

// Reference: dulwich, an independent reader of the format.
void TestObjects::anotherReaderSeesTheSame()
{
    const char* const script =
        "import sys\n"
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
    store.dropNewObjects();
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
        last = bulk.commit("more", last ? std::vector{last} : std::vector<int>{}, {{"b.txt", std::to_string(i)}},
                           "More\n");
    const auto ids = bulk.import(repo);
    repo.git({"repack", "-adq"});
    const auto found = store.read(*Oid::parse(ids.back()), ObjectType::Commit);
    QVERIFY2(found, found ? "" : found.error().line().c_str());
}

// A second program packs everything anew and takes the old packs and loose files away, between reads and all the time.
void TestObjects::storeReadsOnUnderARepack()
{
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    const Oid tip = makeHistory(objects, 150);
    QVERIFY(writeObjects(repo.open(), objects));
    repo.git({"update-ref", "refs/heads/main", QString::fromStdString(tip.hex())});
    const std::string loose = repo.writeRaw("blob", "loose at first\n");
    repo.git({"update-ref", "refs/tags/loose", QString::fromStdString(loose)});
    const Repository opened = repo.open();
    ObjectStore store(opened, 4096); // too small to keep what was read
    const std::vector<Oid> ids = objects.ids();
    for (std::size_t i = 0; i < ids.size(); ++i) {
        if (i % 90 == 45) {
            const QStringList before = packsOf(repo);
            repo.git({"repack", "-adfq", "--depth=" + QString::number(5 + i / 10)});
            repo.git({"prune-packed"});
            QVERIFY(packsOf(repo).size() == 1);
        }
        const auto object = store.read(ids[i]);
        QVERIFY2(object, object ? "" : object.error().line().c_str());
        QCOMPARE(object->type, objects.find(ids[i])->type);
        QCOMPARE(object->view(), objects.find(ids[i])->view());
        QCOMPARE(store.size(ids[ids.size() - 1 - i]).value(), objects.find(ids[ids.size() - 1 - i])->bytes->size());
    }
    QVERIFY(
        !QFile::exists(repo.path() + "/objects/" + QString::fromStdString(loose.substr(0, 2) + "/" + loose.substr(2))));
    QCOMPARE(store.read(*Oid::parse(loose))->view(), "loose at first\n");
}

void TestObjects::storeReadsThroughAlternates()
{
    TempRepository lender(TempRepository::Bare), repo(TempRepository::Bare);
    NewObjects objects;
    makeHistory(objects, 30);
    QVERIFY(writeObjects(lender.open(), objects));
    repo.writeFile("objects/info/alternates", "# a comment\n" + lender.path().toStdString() + "/objects\n");
    const Repository opened = repo.open();
    ObjectStore store(opened);
    for (const Oid& id : objects.ids()) {
        const auto object = store.read(id);
        QVERIFY2(object, object ? "" : object.error().line().c_str());
        QCOMPARE(object->view(), objects.find(id)->view());
        QVERIFY(store.contains(id));
    }
}

// Larger than the pack reader makes, so libgit2's to read: loose, and then in a pack.
void TestObjects::bigObjects()
{
    TempRepository repo(TempRepository::Bare);
    const std::string bytes((std::size_t(64) << 20) + 1, 'x');
    const Oid id = *Oid::parse(repo.writeRaw("blob", bytes));
    repo.git({"update-ref", "refs/tags/big", QString::fromStdString(id.hex())});
    for (const bool packed : {false, true}) {
        if (packed)
            repo.git({"repack", "-adq"});
        const Repository opened = repo.open();
        ObjectStore store(opened);
        QCOMPARE(store.size(id).value(), std::uint64_t(bytes.size()));
        const auto object = store.read(id, ObjectType::Blob);
        QVERIFY2(object, object ? "" : object.error().line().c_str());
        QVERIFY(object->view() == bytes);
    }
}

// Every byte of a pack and of its index is damaged in turn: an object is then read as it was, or not at all.
void TestObjects::damagedPackGivesNoWrongBytes()
{
    TempRepository repo(TempRepository::Bare);
    NewObjects objects;
    makeHistory(objects, 12);
    std::string text;
    for (int i = 0; i < 60; ++i)
        text += "line " + std::to_string(i * i) + "\n";
    for (int i = 0; i < 8; ++i)
        objects.add(ObjectType::Blob, text + std::to_string(i) + "\n" + (i % 2 ? text : ""));
    QByteArray names;
    for (const Oid& id : objects.ids())
        names += QByteArray::fromStdString(id.hex()) + '\n';
    QVERIFY(writeObjects(repo.open(), objects));
    const QStringList before = packsOf(repo);
    const QString folder = repo.path() + "/objects/pack/";
    // git's own pack, with deltas that name their bases by offset.
    const std::string name =
        repo.git({"pack-objects", "--no-reuse-delta", "--delta-base-offset", "-q", folder + "pack"}, names);
    const QString made = folder + "pack-" + QString::fromStdString(name) + ".pack";
    for (const QString& old : before)
        if (folder + old != made)
            for (QString path : {folder + old, (folder + old).replace(".pack", ".idx")})
                QVERIFY(QFile::remove(path));
    QCOMPARE(packsOf(repo).size(), 1);
    std::size_t wrong = 0, refused = 0;
    for (QString path : {made, QString(made).replace(".pack", ".idx")}) {
        QFile file(path);
        QVERIFY(file.setPermissions(QFile::ReadOwner | QFile::WriteOwner));
        QVERIFY(file.open(QIODevice::ReadWrite | QIODevice::Unbuffered));
        const QByteArray bytes = file.readAll();
        for (qsizetype at = 0; at < bytes.size(); ++at) {
            const char damaged = char(bytes[at] ^ (1 << (at * 5 % 8)));
            QVERIFY(file.seek(at) && file.write(&damaged, 1) == 1);
            const Repository opened = repo.open();
            ObjectStore store(opened);
            for (const Oid& id : objects.ids()) {
                const auto object = store.read(id);
                if (!object) {
                    ++refused;
                    QCOMPARE(object.error().kind, ErrorKind::Broken);
                    QCOMPARE(object.error().on, id.hex());
                } else if (object->view() != objects.find(id)->view() || object->type != objects.find(id)->type) {
                    ++wrong;
                }
            }
            QVERIFY(file.seek(at) && file.write(&bytes.constData()[at], 1) == 1);
        }
    }
    QVERIFY(refused > 1000);
    QCOMPARE(wrong, std::size_t(0));
}

QTEST_GUILESS_MAIN(TestObjects)
#include "test_objects.moc"

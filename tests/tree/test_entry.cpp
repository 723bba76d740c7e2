// SPDX-License-Identifier: MIT
#include "core/git/objects.h"
#include "core/tree/entry.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

#include <algorithm>

using namespace espalier;
using namespace std::string_literals;
using test::TempRepository;

class TestEntry : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void roundTrip();
    void orderIsGits();
    void oldModes();
    void damaged_data();
    void damaged();
};

void TestEntry::roundTrip()
{
    TempRepository repo;
    const std::string commit = repo.commitFiles({{"exe:run", "#!\n"},
                                                 {"link:to", "run"},
                                                 {"plain", ""},
                                                 {"in/side/deep.txt", "x"},
                                                 {"in\xe9", "y"},
                                                 {"in.c", "z"}},
                                                "All kinds\n");
    const std::string module = "160000 commit " + commit + "\tmodule\n";
    const std::string listing = repo.git({"ls-tree", QString::fromStdString(commit)}) + "\n" + module;
    const Oid id = *Oid::parse(repo.git({"mktree"}, QByteArray::fromStdString(listing)));
    const Repository opened = repo.open();
    ObjectStore store(opened);
    const auto object = store.read(id, ObjectType::Tree);
    QVERIFY(object);
    const auto entries = parseTree(object->view());
    QVERIFY(entries);
    QCOMPARE(formatTree(*entries), *object->bytes);
    std::map<std::string_view, FileMode> modes;
    for (const TreeEntry& entry : *entries)
        modes[entry.name] = entry.mode;
    const std::map<std::string_view, FileMode> expected{{"run", FileMode::Executable},  {"to", FileMode::Symlink},
                                                        {"plain", FileMode::File},      {"in", FileMode::Tree},
                                                        {"in\xe9", FileMode::File},     {"in.c", FileMode::File},
                                                        {"module", FileMode::Submodule}};
    QCOMPARE(modes, expected);
    QVERIFY(parseTree("")->empty());
    for (const TreeEntry& entry : *entries) {
        TreeCursor cursor(object->view());
        QVERIFY(cursor.find(entry.name));
        QCOMPARE(cursor.entry().id, entry.id);
        QCOMPARE(cursor.entry().mode, entry.mode);
    }
    for (const std::string_view other : {"", "i", "in.", "zz", "100644"}) {
        TreeCursor cursor(object->view());
        QVERIFY(!cursor.find(other) && !cursor.damaged());
    }
}

// Reference: the order in which git mktree writes entries given in any order.
void TestEntry::orderIsGits()
{
    TempRepository repo;
    const std::string blob = repo.writeRaw("blob", "x");
    const std::string tree = repo.git({"mktree"});
    struct Named {
        std::string name;
        bool isTree;
    };
    std::vector<Named> names{{"a", true},   {"a.c", false}, {"a-b", false}, {"a0", false},  {"ab", true}, {"A", false},
                             {"a/", false}, {"b", false},   {"b", true},    {"\xff", true}, {"é", false}};
    std::erase_if(names,
                  [](const Named& named) { return named.name.contains('/') || (named.name == "b" && named.isTree); });
    std::string listing;
    for (const Named& named : names)
        listing += (named.isTree ? "040000 tree " + tree : "100644 blob " + blob) + "\t" + named.name + '\0';
    const QString id = QString::fromStdString(repo.git({"mktree", "-z"}, QByteArray::fromStdString(listing)));
    std::ranges::sort(
        names, [](const Named& a, const Named& b) { return compareTreeNames(a.name, a.isTree, b.name, b.isTree) < 0; });
    std::string sorted;
    for (const Named& named : names)
        sorted += named.name + '\n';
    sorted.pop_back();
    std::string reference = repo.tryGit({"ls-tree", "-z", "--name-only", id}).out.toStdString();
    std::ranges::replace(reference, '\0', '\n');
    reference.pop_back();
    QCOMPARE(sorted, reference);
    // A file and a directory of one name differ; both before what continues the name.
    QVERIFY(compareTreeNames("a", false, "a", true) < 0);
    QCOMPARE(compareTreeNames("a", true, "a", true), 0);
}

void TestEntry::oldModes()
{
    const std::string id(20, '\1');
    const std::string bytes = "100664 old"s + '\0' + id + "040000 padded"s + '\0' + id;
    const auto entries = parseTree(bytes);
    QVERIFY(entries);
    QCOMPARE((*entries)[0].mode, FileMode::File);
    QCOMPARE((*entries)[1].mode, FileMode::Tree);
}

void TestEntry::damaged_data()
{
    QTest::addColumn<QByteArray>("bytes");
    const QByteArray id(20, 'i');
    QTest::newRow("no mode") << QByteArray(" a\0", 3) + id;
    QTest::newRow("mode of letters") << QByteArray("abc a\0", 6) + id;
    QTest::newRow("mode too long") << QByteArray("1000000644 a\0", 13) + id;
    QTest::newRow("no name") << QByteArray("100644 \0", 8) + id;
    QTest::newRow("no end of name") << QByteArray("100644 abc");
    QTest::newRow("cut id") << QByteArray("100644 a\0", 9) + id.first(19);
    QTest::newRow("bytes behind") << QByteArray("100644 a\0", 9) + id + "1";
    QTest::newRow("noise") << QByteArray(64, '\xff');
}

void TestEntry::damaged()
{
    QFETCH(QByteArray, bytes);
    const std::string text = bytes.toStdString();
    const auto entries = parseTree(text);
    QVERIFY(!entries);
    QCOMPARE(entries.error().kind, ErrorKind::Broken);
    TreeCursor cursor(text);
    QVERIFY(!cursor.find("not there"));
    QVERIFY(cursor.damaged());
}

QTEST_GUILESS_MAIN(TestEntry)
#include "test_entry.moc"

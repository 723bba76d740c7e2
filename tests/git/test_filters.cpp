// SPDX-License-Identifier: MIT
#include "core/git/filters.h"
#include "core/git/handles.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

// Checks out the branch main by libgit2, as apply does.
int checkOut(const Repository& repository)
{
    git_checkout_options options = GIT_CHECKOUT_OPTIONS_INIT;
    options.checkout_strategy = GIT_CHECKOUT_FORCE;
    return git_checkout_head(raw(repository), &options);
}

} // namespace

class TestFilters : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void heldPaths();
    void smudgeAndClean();
    void pathIsQuoted();
    void failing_data();
    void failing();
};

void TestFilters::heldPaths()
{
    TempRepository repo;
    repo.writeFile(".gitattributes", "*.bin filter=store\n*.txt filter=upper\n*.c filter=unset-in-config\n*.h -filter\n"
                                     "*.x filter\n");
    const std::vector<std::string> paths{"a.bin", "deep/b.bin", "a.txt", "a.c", "a.h", "a.x", "plain"};
    QCOMPARE(filteredPaths(repo.open(), paths).value(), std::vector<std::string>());
    repo.git({"config", "filter.store.process", "store-tool"});
    repo.git({"config", "filter.upper.clean", "tr A-Z a-z"});
    QCOMPARE(filteredPaths(repo.open(), paths).value(), (std::vector<std::string>{"a.bin", "deep/b.bin"}));
    // With both commands the program needs no long-running form.
    repo.git({"config", "filter.store.clean", "store-tool clean %f"});
    repo.git({"config", "filter.store.smudge", "store-tool smudge %f"});
    QCOMPARE(filteredPaths(repo.open(), paths).value(), std::vector<std::string>());
    TempRepository bare(TempRepository::Bare);
    QCOMPARE(filteredPaths(bare.open(), paths).value(), std::vector<std::string>());
}

// Reference: git's own checkout and git's own status of what libgit2 wrote.
void TestFilters::smudgeAndClean()
{
    TempRepository repo;
    repo.commitFiles({{".gitattributes", "*.txt filter=upper\n"}, {"a.txt", "one\n"}, {"b.c", "two\n"}}, "First\n", {},
                     "main");
    repo.git({"config", "filter.upper.smudge", "tr a-z A-Z"});
    repo.git({"config", "filter.upper.clean", "tr A-Z a-z"});
    const Repository opened = repo.open();
    QCOMPARE(checkOut(opened), 0);
    QCOMPARE(repo.readFile("a.txt"), "ONE\n");
    QCOMPARE(repo.readFile("b.c"), "two\n");
    QCOMPARE(repo.git({"status", "--porcelain"}), "");
    repo.writeFile("a.txt", "THREE\n");
    git_oid id;
    QCOMPARE(git_blob_create_from_workdir(&id, raw(opened), "a.txt"), 0);
    QCOMPARE(fromGit(id).hex(), repo.git({"hash-object", "--path=a.txt", "a.txt"}));
    QCOMPARE(repo.readRaw("blob", fromGit(id).hex()), "three\n");
}

void TestFilters::pathIsQuoted()
{
    TempRepository repo;
    const std::string name = "it's $(touch hacked) `x`.txt";
    repo.commitFiles({{".gitattributes", "*.txt filter=name\n"}, {name, "one\n"}}, "First\n", {}, "main");
    repo.git({"config", "filter.name.smudge", "printf '%%s|' %f; cat"});
    QCOMPARE(checkOut(repo.open()), 0);
    QCOMPARE(repo.readFile(name), name + "|one\n");
    QVERIFY(!QFile::exists(repo.path() + "/hacked"));
}

void TestFilters::failing_data()
{
    QTest::addColumn<bool>("isRequired");
    QTest::newRow("optional: contents as they are") << false;
    QTest::newRow("required: nothing is written") << true;
}

void TestFilters::failing()
{
    QFETCH(bool, isRequired);
    TempRepository repo;
    repo.commitFiles({{".gitattributes", "*.txt filter=bad\n"}, {"a.txt", "one\n"}}, "First\n", {}, "main");
    repo.git({"config", "filter.bad.smudge", "echo spoilt; echo 'no network' >&2; exit 1"});
    repo.git({"config", "filter.bad.required", isRequired ? "true" : "false"});
    const int code = checkOut(repo.open());
    if (isRequired) {
        QVERIFY(code < 0);
        const std::string line = libgitError("The files cannot be written").error().line();
        QVERIFY2(line.contains("the filter 'bad' failed: no network"), line.c_str());
        QVERIFY(repo.readFile("a.txt") != "spoilt\n");
    } else {
        QCOMPARE(code, 0);
        QCOMPARE(repo.readFile("a.txt"), "one\n");
    }
}

QTEST_GUILESS_MAIN(TestFilters)
#include "test_filters.moc"

// SPDX-License-Identifier: MIT
//
// Samples that stay until they are removed: what is opened again is what was left, and what is removed is that and nothing
// else.
#include "core/samples/kept.h"

#include <QFile>
#include <QTemporaryDir>
#include <QtTest>

#include <fstream>

#include <csignal>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
namespace fs = std::filesystem;

class TestKeptSamples : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void init()
    {
        m_folder = std::make_unique<QTemporaryDir>();
        root = fs::path(m_folder->path().toStdString()) / "samples";
    }
    void builtOnceAndFoundAgain();
    void unknownNameLeavesNothing();
    void foreignFolderIsLeftAlone();
    void removedWithReadOnlyFilesAndOddNames();
    void whatACrashLeftIsClearedAway();
    void onlyOursIsRemoved();
    void linkIsNotFollowed();

  private:
    static void write(const fs::path& file, const std::string& text) { std::ofstream(file) << text; }
    std::unique_ptr<QTemporaryDir> m_folder;
    fs::path root;
};

void TestKeptSamples::builtOnceAndFoundAgain()
{
    QVERIFY(keptSamples(root).empty());
    const auto first = openKeptSample("same-lines", root);
    QVERIFY2(first, first ? "" : first.error().line().c_str());
    QCOMPARE(keptSamples(root), std::vector<std::string>{"same-lines"});
    write(first->clone / "note.txt", "done here");
    const auto again = openKeptSample("same-lines", root);
    QVERIFY(again);
    QCOMPARE(again->clone, first->clone);
    QVERIFY(fs::exists(again->clone / "note.txt"));
}

void TestKeptSamples::unknownNameLeavesNothing()
{
    const auto none = openKeptSample("no-such-sample", root);
    QVERIFY(!none);
    QCOMPARE(none.error().kind, ErrorKind::NotFound);
    QVERIFY(!fs::exists(root / "no-such-sample"));
}

void TestKeptSamples::foreignFolderIsLeftAlone()
{
    fs::create_directories(root / "stacked");
    write(root / "stacked" / "mine.txt", "not a sample");
    const auto sample = openKeptSample("stacked", root);
    QVERIFY2(sample, sample ? "" : sample.error().line().c_str());
    QCOMPARE(sample->clone, root / "stacked-2" / "clone");
    QVERIFY(fs::exists(root / "stacked" / "mine.txt"));
    QCOMPARE(keptSamples(root), std::vector<std::string>{"stacked-2"});
}

void TestKeptSamples::removedWithReadOnlyFilesAndOddNames()
{
    // Its worktree has a path that is not UTF-8 and one with a line end; git's objects are read-only.
    const auto sample = openKeptSample("hostile", root);
    QVERIFY2(sample, sample ? "" : sample.error().line().c_str());
    fs::permissions(sample->clone / "docs", fs::perms::owner_read | fs::perms::owner_exec);
    const auto gone = removeKeptSample("hostile", root);
    QVERIFY2(gone, gone ? "" : gone.error().line().c_str());
    QVERIFY(!fs::exists(root / "hostile"));
    QVERIFY(keptSamples(root).empty());
}

void TestKeptSamples::whatACrashLeftIsClearedAway()
{
    fs::create_directories(root);
    // A process that the system ends in the middle of its build: at the first file of more than 100 bytes.
    const pid_t child = ::fork();
    if (child == 0) {
        const rlimit small{100, 100}, none{0, 0};
        ::setrlimit(RLIMIT_CORE, &none);
        ::setrlimit(RLIMIT_FSIZE, &small);
        ::signal(SIGXFSZ, SIG_DFL);
        (void)openKeptSample("same-lines", root);
        ::_exit(0);
    }
    int status = 0;
    QCOMPARE(::waitpid(child, &status, 0), child);
    QVERIFY(WIFSIGNALED(status));
    QVERIFY(fs::exists(root / ".same-lines.building"));
    QVERIFY(fs::exists(root / "same-lines"));
    // Beside it: what somebody else put there, and what is being built at this moment.
    fs::create_directories(root / "mine");
    fs::create_directories(root / "busy");
    const int busy = ::open((root / ".busy.building").c_str(), O_CREAT | O_RDWR, 0600);
    QCOMPARE(::flock(busy, LOCK_EX), 0);
    removeUnfinishedSamples(root);
    QVERIFY(!fs::exists(root / "same-lines"));
    QVERIFY(!fs::exists(root / ".same-lines.building"));
    QVERIFY(fs::exists(root / "mine"));
    QVERIFY(fs::exists(root / "busy"));
    ::close(busy);
    // The next one is built where it belongs, and leaves no mark.
    const auto sample = openKeptSample("same-lines", root);
    QVERIFY2(sample, sample ? "" : sample.error().line().c_str());
    QCOMPARE(sample->clone, root / "same-lines" / "clone");
    QVERIFY(!fs::exists(root / "busy")); // nobody builds it any more
    QVERIFY(!fs::exists(root / ".same-lines.building"));
    QCOMPARE(keptSamples(root), std::vector<std::string>{"same-lines"});
}

void TestKeptSamples::onlyOursIsRemoved()
{
    QVERIFY(openKeptSample("stacked", root));
    fs::create_directories(root / "other");
    write(root / "other" / "mine.txt", "not a sample");
    // The folder above has the sign of a sample too, and a name that leads to it is still refused.
    write(root.parent_path() / "espalier-sample", "x");
    for (const char* name : {"other", "..", ".", "", "stacked/clone", "../samples/stacked"}) {
        const auto refused = removeKeptSample(name, root);
        QVERIFY2(!refused, name);
        QCOMPARE(refused.error().kind, ErrorKind::NotFound);
    }
    QVERIFY(fs::exists(root / "other" / "mine.txt"));
    QVERIFY(fs::exists(root / "stacked" / "clone"));
}

void TestKeptSamples::linkIsNotFollowed()
{
    const fs::path outside = root.parent_path() / "outside";
    fs::create_directories(outside);
    write(outside / "espalier-sample", "x");
    write(outside / "precious.txt", "stays");
    fs::permissions(outside / "precious.txt", fs::perms::owner_read);
    const auto sample = openKeptSample("stacked", root);
    QVERIFY(sample);
    fs::create_directory_symlink(outside, sample->clone / "link");
    fs::create_directory_symlink(outside, root / "linked");
    QVERIFY(!removeKeptSample("linked", root));
    QVERIFY(removeKeptSample("stacked", root));
    QVERIFY(fs::exists(outside / "precious.txt"));
    QCOMPARE(fs::status(outside / "precious.txt").permissions() & fs::perms::owner_write, fs::perms::none);
}

QTEST_GUILESS_MAIN(TestKeptSamples)
#include "test_kept_samples.moc"

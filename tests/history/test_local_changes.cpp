// SPDX-License-Identifier: MIT
// Counting local changes, against `git status --porcelain=v2`.
#include "core/history/local_changes.h"
#include "tests/support/temp_repository.h"

#include <QDir>
#include <QFile>
#include <QRandomGenerator>
#include <QtTest/QtTest>

#include <set>

using namespace espalier;
using namespace espalier::test;

namespace {

// git-status(1), Porcelain Format Version 2: "1 XY …" and "2 XY …" are changed entries, "u …" unmerged, "? …" untracked.
LocalChanges countedByGit(const TempRepository& repo)
{
    LocalChanges counts;
    const QString status = QString::fromStdString(
        repo.git({"--no-optional-locks", "status", "--porcelain=v2", "--ignore-submodules=all", "--find-renames=50%"}));
    for (const QString& line : status.split('\n', Qt::SkipEmptyParts)) {
        if (line.startsWith('?'))
            ++counts.untracked;
        else if (line.startsWith('u'))
            ++counts.conflicted;
        else {
            counts.staged += line[2] != '.';
            counts.changed += line[3] != '.';
        }
    }
    return counts;
}

// Each file that git lists, as "kind path +added -deleted"; a kind is git's letter in this order, and lines are counted by
// `git diff --numstat`. Of untracked files, of those in conflict and of binary ones only the names.
std::multiset<std::string> filesOfGit(const TempRepository& repo)
{
    std::multiset<std::string> files;
    const QStringList common{"--ignore-submodules=all", "--find-renames=50%", "--numstat", "-z"};
    const QString status = QString::fromStdString(repo.git(
        {"--no-optional-locks", "status", "--porcelain=v2", "-z", "--ignore-submodules=all", "--find-renames=50%"}));
    std::set<QString> conflicted;
    for (const QString& line : status.split(QChar(0), Qt::SkipEmptyParts)) {
        if (line.startsWith("u ")) {
            conflicted.insert(line.section(' ', 10));
            files.insert("conflicted " + line.section(' ', 10).toStdString());
        } else if (line.startsWith("? ")) {
            files.insert("untracked " + line.mid(2).toStdString());
        }
    }
    for (const bool staged : {true, false}) {
        const QStringList parts =
            QString::fromStdString(repo.git((staged ? QStringList{"diff", "--cached"} : QStringList{"diff"}) + common))
                .split(QChar(0), Qt::SkipEmptyParts);
        for (qsizetype at = 0; at < parts.size(); ++at) {
            QString path = parts[at].section('\t', 2);
            const QString added = parts[at].section('\t', 0, 0), deleted = parts[at].section('\t', 1, 1);
            if (path.isEmpty()) { // a rename: the old and the new name follow
                path = parts[at + 2];
                at += 2;
            }
            if (!conflicted.contains(path))
                files.insert(
                    QString("%1 %2 +%3 -%4").arg(staged ? "staged" : "changed", path, added, deleted).toStdString());
        }
    }
    return files;
}

std::multiset<std::string> filesOf(const LocalFiles& read)
{
    std::multiset<std::string> files;
    for (const LocalFile& file : read.files) {
        const FileChange& change = file.change;
        const std::string path = change.newPath.empty() ? change.oldPath : change.newPath;
        const std::string lines = " +" + std::to_string(change.added) + " -" + std::to_string(change.deleted);
        files.insert(file.kind == LocalKind::Conflicted  ? "conflicted " + path
                     : file.kind == LocalKind::Untracked ? "untracked " + path
                     : file.kind == LocalKind::Staged    ? "staged " + path + lines
                                                         : "changed " + path + lines);
    }
    return files;
}

QByteArray listed(const std::multiset<std::string>& files)
{
    QByteArray text;
    for (const std::string& file : files)
        text += QByteArray::fromStdString(file) + '\n';
    return text;
}

LocalChanges countedHere(const TempRepository& repo) { return countLocalChanges(repo.open()).value(); }

} // namespace

class TestLocalChanges : public QObject {
    Q_OBJECT

    static void makeRepository(TempRepository& repo)
    {
        Files files;
        for (int i = 0; i < 40; ++i)
            files[QString("%1/%2/file%3").arg(i % 3).arg(i % 5).arg(i).toStdString()] =
                std::string(std::size_t(i % 4) * 7, char('a' + i % 26)) + "\n" + std::to_string(i) + "\n";
        files["exe:tool"] = "#!/bin/sh\n";
        files["link:link"] = "tool";
        files[".gitignore"] = "*.o\nbuild/\n";
        repo.commitFiles(files, "Base", {}, "main");
        repo.git({"reset", "--quiet", "--hard"});
    }

  private Q_SLOTS:
    void words()
    {
        QVERIFY(!LocalChanges{}.any());
        QCOMPARE(LocalChanges{}.words(), "");
        QCOMPARE((LocalChanges{3, 1, 0, 2}.words()), "3 changed, 1 staged, 2 untracked");
        QCOMPARE((LocalChanges{0, 0, 1, 0}.words()), "1 conflicted");
    }

    void randomChanges_data()
    {
        QTest::addColumn<quint32>("seed");
        for (quint32 seed = 1; seed <= 25; ++seed)
            QTest::addRow("%u", seed) << seed;
    }

    void randomChanges()
    {
        QFETCH(quint32, seed);
        QRandomGenerator random(seed);
        TempRepository repo;
        makeRepository(repo);
        QCOMPARE(countedHere(repo), LocalChanges{});
        const auto some = [&] {
            const int i = random.bounded(40);
            return QString("%1/%2/file%3").arg(i % 3).arg(i % 5).arg(i);
        };
        for (int step = 0; step < 14; ++step) {
            const QString path = some(), at = repo.path() + '/' + path;
            switch (random.bounded(10)) {
            case 0:
            case 1:
                if (QFile::exists(at))
                    repo.writeFile(path.toStdString(), "changed " + std::to_string(step) + "\n");
                break;
            case 2:
                repo.tryGit({"add", path});
                break;
            case 3:
                QFile::remove(at);
                break;
            case 4:
                repo.tryGit({"rm", "--quiet", "--cached", path});
                break;
            case 5:
                repo.tryGit({"mv", path, path + ".moved"});
                break;
            case 6:
                repo.writeFile("new" + std::to_string(random.bounded(4)) + "/deep/file", "new\n");
                break;
            case 7:
                repo.writeFile("0/ignored.o", "object\n");
                repo.writeFile("build/file", "built\n");
                QDir(repo.path()).mkpath("empty/folder");
                break;
            case 8:
                QFile::setPermissions(repo.path() + "/tool", QFile::ReadOwner | QFile::WriteOwner);
                break;
            default:
                repo.tryGit({"add", "--all", "new1"});
            }
        }
        const auto before = folderState(repo.fsPath());
        const LocalChanges found = countedHere(repo);
        const LocalFiles read = readLocalFiles(repo.open()).value();
        QCOMPARE(folderState(repo.fsPath()), before);
        QCOMPARE(read.counts, found);
        QCOMPARE(listed(filesOf(read)), listed(filesOfGit(repo)));
        QVERIFY2(found == countedByGit(repo),
                 qPrintable(QString::fromStdString(found.words() + " but git has " + countedByGit(repo).words()) +
                            '\n' + QString::fromStdString(repo.git({"status", "--porcelain=v2"}))));
    }

    void conflicts()
    {
        TempRepository repo;
        const auto base = repo.commitFiles({{"a", "1\n"}, {"b", "1\n"}, {"c", "1\n"}}, "Base", {}, "main");
        repo.commitFiles({{"a", "2\n"}, {"b", std::nullopt}, {"d", "one\n"}}, "Other", {base}, "other");
        repo.commitFiles({{"a", "3\n"}, {"b", "2\n"}, {"d", "two\n"}}, "Main", {base}, "main");
        repo.git({"reset", "--quiet", "--hard"});
        QVERIFY(repo.tryGit({"merge", "other"}).exitCode != 0);
        QCOMPARE(countedHere(repo), countedByGit(repo));
        QCOMPARE(countedHere(repo).words(), "3 conflicted");
        const LocalFiles read = readLocalFiles(repo.open()).value();
        QCOMPARE(listed(filesOf(read)), listed(filesOfGit(repo)));
        // Against the side that is checked out: what the merge wrote around it is new.
        QCOMPARE(read.files[0].change.newPath, std::string("a"));
        const DiffHunk& hunk = read.files[0].change.hunks.at(0);
        std::string text;
        for (const DiffLine& line : hunk.lines)
            text += (line.kind == DiffLine::Added ? "+" : line.kind == DiffLine::Deleted ? "-" : " ") + line.text + "|";
        QCOMPARE(text, std::string("+<<<<<<< HEAD| 3|+=======|+2|+>>>>>>> other|"));
    }

    void lines()
    {
        TempRepository repo;
        makeRepository(repo);
        repo.writeFile("0/1/file6", "one\ntwo\n");
        repo.git({"add", "0/1/file6"});
        repo.writeFile("0/1/file6", "one\ntwo\nthree\n");
        repo.writeFile("new", "of its own\n");
        repo.writeFile("folder/deep", "not shown\n");
        repo.git({"mv", "1/1/file1", "moved"});
        const LocalFiles read = readLocalFiles(repo.open()).value();
        std::vector<std::string> paths;
        for (const LocalFile& file : read.files)
            paths.push_back(file.change.newPath);
        QCOMPARE(paths, (std::vector<std::string>{"0/1/file6", "0/1/file6", "moved", "folder/", "new"}));
        QCOMPARE(read.files[0].kind, LocalKind::Changed);
        QCOMPARE(read.files[0].change.hunks.at(0).lines.back().text, std::string("three"));
        QCOMPARE(read.files[1].kind, LocalKind::Staged);
        QCOMPARE(read.files[2].change.kind, ChangeKind::Renamed);
        QCOMPARE(read.files[2].change.oldPath, std::string("1/1/file1"));
        QVERIFY(read.files[3].change.hunks.empty());
        QCOMPARE(read.files[4].kind, LocalKind::Untracked);
        QCOMPARE(read.files[4].change.hunks.at(0).lines.at(0).text, std::string("of its own"));
        // No more than is asked for, and the counts are of all.
        ChangesOptions few;
        few.maxFiles = 2;
        const LocalFiles some = readLocalFiles(repo.open(), few).value();
        QVERIFY(some.truncated);
        QCOMPARE(some.files.size(), std::size_t(2));
        QCOMPARE(some.counts, read.counts);
        std::stop_source source;
        source.request_stop();
        QCOMPARE(readLocalFiles(repo.open(), {}, {source.get_token(), {}}).error().kind, ErrorKind::Cancelled);
    }

    void withoutACommit()
    {
        const TempRepository repo;
        QCOMPARE(countedHere(repo), LocalChanges{});
        repo.writeFile("a", "1\n");
        QCOMPARE(countedHere(repo).words(), "1 untracked");
        repo.git({"add", "a"});
        QCOMPARE(countedHere(repo), countedByGit(repo));
        QCOMPARE(countLocalChanges(TempRepository(TempRepository::Bare).open()).value(), LocalChanges{});
    }

    void canBeStopped()
    {
        TempRepository repo;
        makeRepository(repo);
        repo.writeFile("0/0/file0", "other\n");
        std::stop_source source;
        source.request_stop();
        const auto stopped = countLocalChanges(repo.open(), {source.get_token(), {}});
        QVERIFY(!stopped);
        QCOMPARE(stopped.error().kind, ErrorKind::Cancelled);
    }

    // A filter that hangs is the user's own program: it ends when the count is stopped.
    void aHangingFilterCanBeStopped()
    {
        TempRepository repo;
        repo.commitFiles({{".gitattributes", "*.slow filter=slow\n"}, {"a.slow", "1\n"}}, "Base", {}, "main");
        repo.git({"reset", "--quiet", "--hard"});
        const QString mark = repo.outside() + "/began";
        repo.git({"config", "filter.slow.clean", "touch '" + mark + "'; sleep 600"});
        repo.writeFile("a.slow", "2\n");
        std::stop_source source;
        Result<LocalChanges> counted;
        std::thread worker([&] { counted = countLocalChanges(repo.open(), {source.get_token(), {}}); });
        const bool began = QTest::qWaitFor([&] { return QFile::exists(mark); }, 60000);
        source.request_stop();
        worker.join();
        QVERIFY(began);
        QVERIFY(!counted);
        QCOMPARE(counted.error().kind, ErrorKind::Cancelled);
    }

    void foldersToWatch()
    {
        TempRepository repo;
        repo.commitFiles({{"a/b/c/file", "1\n"}, {"a/d", "1\n"}, {"e", "1\n"}}, "Base", {}, "main");
        repo.git({"reset", "--quiet", "--hard"});
        repo.writeFile("untracked/file", "1\n");
        const std::filesystem::path top = repo.open().workDir();
        using Folders = std::vector<std::filesystem::path>;
        QCOMPARE(trackedFolders(repo.open(), 10), (Folders{top, top / "a", top / "a/b", top / "a/b/c"}));
        QCOMPARE(trackedFolders(repo.open(), 2), (Folders{top, top / "a"}));
    }
};

QTEST_GUILESS_MAIN(TestLocalChanges)
#include "test_local_changes.moc"

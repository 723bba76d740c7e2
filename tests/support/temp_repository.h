// SPDX-License-Identifier: MIT
//
// Throw-away repositories, made and read with git's own plumbing so that what the tests compare with owes nothing to
// the code under test. Every git runs with a clean environment: no user or system config, fixed people and clock.
//
//     TempRepository repo;
//     const std::string a = repo.commitFiles({{"notes.txt", "one\n"}}, "First", {}, "main");
//     const std::string b = repo.commitFiles({{"notes.txt", "two\n"}}, "Second", {a}, "main");
//     QCOMPARE(repo.git({"rev-list", "--count", "main"}), "2");
//     Repository opened = repo.open();
#pragma once

#include "core/git/oid.h"
#include "core/git/repository.h"

#include <QByteArray>
#include <QProcessEnvironment>
#include <QString>
#include <QStringList>
#include <QTemporaryDir>

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace espalier::test {

// The environment of every program that a test starts; `home` becomes HOME.
QProcessEnvironment cleanEnvironment(const QString& home);

struct GitRun {
    int exitCode = -1; // -1 when it could not be started or crashed
    QByteArray out;
    QByteArray err;
};
// Runs a program with cleanEnvironment(folder) in `folder`, waits for its end. `more` adds to the environment.
GitRun runProgram(const QString& program, const QStringList& arguments, const QString& folder,
                  const QByteArray& input = {}, const std::map<QString, QString>& more = {});

// Contents by path; nothing deletes the path. A path that starts with "exe:" or "link:" is made executable, a symlink; with
// "sub:", a submodule at the commit that the contents name.
using Files = std::map<std::string, std::optional<std::string>>;

class TempRepository {
  public:
    enum Kind { Worktree, Bare };
    // `initOptions` go to git init, e.g. {"--object-format=sha256"}. The branch checked out is main, unborn.
    explicit TempRepository(Kind kind = Worktree, const QStringList& initOptions = {});

    // The folder of the repository, without a slash at its end, and the throw-away folder around it, for more clones.
    QString path() const { return m_path; }
    QString outside() const { return m_folder.path(); }
    std::filesystem::path fsPath() const { return m_path.toStdString(); }

    // What git prints, without the last line end. Fails the test with git's words when it does not end with 0.
    std::string git(const QStringList& arguments, const QByteArray& input = {}) const;
    // The same with any ending.
    GitRun tryGit(const QStringList& arguments, const QByteArray& input = {}) const;

    // Opened by the code under test; fails the test (and ends the program) when it cannot be.
    Repository open() const;

    // Makes a commit out of the first parent's files and these changes, and returns its id. `branch` (without
    // refs/heads/) is moved there when given; the worktree is not touched. Each commit is a minute later than the last.
    std::string commitFiles(const Files& files, const std::string& message,
                            const std::vector<std::string>& parents = {}, const std::string& branch = {});

    // Stores the bytes as a loose object, whatever they are (git hash-object --literally), and returns the id.
    std::string writeRaw(const char* type, const std::string& bytes) const;
    std::string readRaw(const char* type, const std::string& id) const;

    void writeFile(const std::string& path, const std::string& contents) const;
    std::string readFile(const std::string& path) const;

  private:
    QTemporaryDir m_folder;
    QString m_path;
    long long m_clock = 1700000000;
};

// A stream for git fast-import, for histories of many commits in one go. Marks are numbers from 1.
//
//     BulkHistory bulk;
//     const int root = bulk.commit("main", {}, {{"a.txt", "1\n"}}, "Root");
//     bulk.commit("topic", {root}, {{"a.txt", "2\n"}}, "On top");
//     std::vector<std::string> ids = bulk.import(repo);   // ids[mark]
class BulkHistory {
  public:
    int commit(const std::string& branch, const std::vector<int>& parents, const Files& files,
               const std::string& message);
    // The next commit is made a minute after this.
    void setClock(long long seconds) { m_clock = seconds; }
    long long clock() const { return m_clock; }
    // ids[0] is empty.
    std::vector<std::string> import(const TempRepository& into) const;

  private:
    QByteArray m_stream;
    int m_marks = 0;
    long long m_clock = 1700000000;
};

// Everything below a folder that a test wants to find unchanged: path, kind, mode and contents. Access times are not in, nor is
// what the program keeps only to save time (DEVELOPERS.md, "Kept between runs").
std::map<std::string, std::string> folderState(const std::filesystem::path& folder);

} // namespace espalier::test

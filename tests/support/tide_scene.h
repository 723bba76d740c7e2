// SPDX-License-Identifier: MIT
//
// A small repository that tests of the commands damage or configure, copied from one that is made once.
//
//     TideTemplate made;
//     const Scene scene = made.copyTo(folder.path());
//     scene.git({"config", "commit.gpgSign", "maybe"});
#pragma once

#include "tests/support/temp_repository.h"

#include <QByteArray>
#include <QString>
#include <QStringList>

namespace espalier::test {

// `main` with one commit above where `topic` left it, `topic`, checked out, with two. No remote.
struct Scene {
    QString path;    // of the worktree
    QString outside; // a folder around it
    QString dotGit() const { return path + QStringLiteral("/.git"); }
    // What git prints; the test fails when git does.
    QByteArray git(const QStringList& arguments, const QByteArray& input = {}) const;
    // The file of a loose object.
    QString loose(const QString& revision) const;
    void write(const QString& file, const QByteArray& bytes) const; // an absolute path
    QByteArray read(const QString& file) const;
    // Changes a file on a branch, which is then checked out.
    void commit(const char* branch, const char* file, const QByteArray& bytes) const;
    // An executable one.
    void hook(const char* name, const QByteArray& script) const;
};

class TideTemplate {
  public:
    TideTemplate();
    Scene copyTo(const QString& folder, const char* name = "tidebook") const;

  private:
    TempRepository m_repository;
};

} // namespace espalier::test

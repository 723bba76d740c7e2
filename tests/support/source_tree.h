// SPDX-License-Identifier: MIT
//
// The project's own files as texts, for tests that hold its words against its code.
//
//     for (const SourceFile& header : sourceFiles({"core"}, {"*.h"})) … header.text …
#pragma once

#include <QString>
#include <QStringList>

#include <vector>

namespace espalier::test {

struct SourceFile {
    QString path; // from the top of the project, with slashes
    QString text; // as UTF-8
};

// The files below these folders that fit one of the patterns, in order of path; build folders and git's are left out.
std::vector<SourceFile> sourceFiles(const QStringList& folders,
                                    const QStringList& patterns = {QStringLiteral("*.h"), QStringLiteral("*.cpp")});
// One file's text; ends the program when it cannot be read.
QString sourceText(const QString& path);

} // namespace espalier::test

// SPDX-License-Identifier: MIT
#include "tests/support/source_tree.h"

#include <QDir>
#include <QDirIterator>
#include <QFile>

#include <algorithm>

namespace espalier::test {

namespace {

const QDir& top()
{
    static const QDir folder(QStringLiteral(ESPALIER_SOURCE_DIR));
    return folder;
}

bool isBuilt(const QString& path)
{
    return path.startsWith(QStringLiteral("build/")) || path.startsWith(QStringLiteral(".git/"));
}

} // namespace

std::vector<SourceFile> sourceFiles(const QStringList& folders, const QStringList& patterns)
{
    std::vector<SourceFile> files;
    for (const QString& folder : folders) {
        QDirIterator all(top().filePath(folder), patterns, QDir::Files, QDirIterator::Subdirectories);
        while (all.hasNext()) {
            const QString path = QDir::cleanPath(top().relativeFilePath(all.next()));
            if (!isBuilt(path))
                files.push_back({path, sourceText(path)});
        }
    }
    std::ranges::sort(files, {}, &SourceFile::path);
    return files;
}

QString sourceText(const QString& path)
{
    QFile file(top().filePath(path));
    if (!file.open(QIODevice::ReadOnly))
        qFatal("%s cannot be read", qPrintable(path));
    return QString::fromUtf8(file.readAll());
}

} // namespace espalier::test

// SPDX-License-Identifier: MIT
//
// What the headers say of themselves: every one opens with what it is for, its example names things that exist, and no
// comment points at a file that is not there.
#include "tests/support/source_tree.h"

#include <QtTest/QtTest>

using namespace espalier::test;

class TestComments : public QObject {
    Q_OBJECT

    static QStringList names(const QString& pattern, const QString& text)
    {
        QStringList found;
        for (auto at = QRegularExpression(pattern).globalMatch(text); at.hasNext();)
            found << at.next().captured(1);
        return found;
    }

    static QString withoutStrings(QString line)
    {
        static const QRegularExpression strings(QStringLiteral("\"(\\\\.|[^\"\\\\])*\""));
        return line.replace(strings, QStringLiteral("\"\""));
    }

    // Code only: no strings, no remarks behind it.
    static QString bare(const QString& line) { return withoutStrings(line).section(QStringLiteral("//"), 0, 0); }

    // The comment that a header opens with, a line each, without the slashes.
    static QStringList opening(const QString& text)
    {
        QStringList lines;
        const QStringList all = text.split('\n');
        for (const QString& line : all) {
            if (!line.startsWith(QStringLiteral("//")))
                break;
            if (!line.contains(QStringLiteral("SPDX")))
                lines << line.mid(2);
        }
        return lines;
    }

    static QSet<QString> wordsOfTheCode()
    {
        QSet<QString> words;
        for (const SourceFile& file : sourceFiles({"core", "app"})) {
            const QStringList lines = file.text.split('\n');
            for (const QString& line : lines)
                for (const QString& word : names(QStringLiteral(R"(([A-Za-z_]\w*))"), bare(line)))
                    words.insert(word);
        }
        return words;
    }

  private Q_SLOTS:
    void everyHeaderSaysWhatItIsFor()
    {
        const auto headers = sourceFiles({"core", "app"}, {"*.h"});
        QVERIFY(headers.size() > 100);
        QStringList silent;
        for (const SourceFile& header : headers)
            if (opening(header.text).join(QString()).trimmed().size() < 20)
                silent << header.path;
        QVERIFY2(silent.isEmpty(), qPrintable(silent.join('\n')));
    }

    void examplesNameWhatExists()
    {
        const QSet<QString> known = wordsOfTheCode();
        QStringList unknown;
        int examples = 0;
        for (const SourceFile& header : sourceFiles({"core", "app"}, {"*.h"})) {
            const QStringList lines = opening(header.text).filter(QRegularExpression(QStringLiteral("^     ")));
            if (!lines.join(QString()).contains(';'))
                continue; // a picture, a recipe: no code
            for (const QString& line : lines) {
                ++examples;
                const QString code = bare(line).remove(QRegularExpression(QStringLiteral("std::\\w+")));
                QStringList used = names(QStringLiteral(R"(\b([A-Za-z_]\w*)\s*\()"), code);
                used += names(QStringLiteral(R"((?:\.|->|::)([A-Za-z_]\w*))"), code);
                used += names(QStringLiteral(R"(\b([A-Z][a-z]\w*)\b)"), code);
                for (const QString& name : used)
                    if (!known.contains(name))
                        unknown << header.path + QStringLiteral(": ") + name;
            }
        }
        unknown.removeDuplicates();
        QVERIFY(examples > 100);
        QVERIFY2(unknown.isEmpty(), qPrintable(unknown.join('\n')));
    }

    void noCommentPointsAtNothing()
    {
        // libgit2's own header, and the pages at the top.
        QSet<QString> there{QStringLiteral("git2.h"), QStringLiteral("README.md"), QStringLiteral("DEVELOPERS.md")};
        for (const SourceFile& file :
             sourceFiles({"core", "app", "tests", "sample-repos"}, {"*.h", "*.cpp", "*.md", "*.cmake"}))
            there.insert(file.path.section('/', -1));
        QStringList missing;
        int cited = 0;
        for (const SourceFile& file : sourceFiles({"core", "app", "tests", "packaging"}, {"*.h", "*.cpp", "*.txt"})) {
            const QStringList lines = file.text.split('\n');
            for (const QString& line : lines) {
                const int begin = int(line.indexOf(file.path.endsWith(QStringLiteral(".txt")) ? QStringLiteral("#")
                                                                                              : QStringLiteral("// ")));
                // Examples name files of their own.
                if (begin < 0 || line.mid(begin).startsWith(QStringLiteral("//     ")))
                    continue;
                const QString unquoted = withoutStrings(line.mid(begin));
                for (const QString& name : names(QStringLiteral(R"(\b([\w-]+\.(?:h|cpp|md|cmake))\b)"), unquoted)) {
                    ++cited;
                    if (!there.contains(name))
                        missing << file.path + QStringLiteral(": ") + name;
                }
            }
        }
        QVERIFY(cited > 10);
        QVERIFY2(missing.isEmpty(), qPrintable(missing.join('\n')));
    }
};

QTEST_APPLESS_MAIN(TestComments)
#include "test_comments.moc"

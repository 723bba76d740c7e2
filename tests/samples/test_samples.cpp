// SPDX-License-Identifier: MIT
//
// Every recipe builds, the same way every time, into repositories that git finds nothing wrong with.
#include "core/git/repository.h"
#include "core/samples/recipe.h"
#include "core/samples/samples.h"

#include <QProcess>
#include <QTemporaryDir>
#include <QtTest>

using namespace espalier;

namespace {

std::filesystem::path under(const QTemporaryDir& folder, const QString& name)
{
    return std::filesystem::path(folder.path().toStdString()) / name.toStdString();
}

QByteArray git(const std::filesystem::path& at, const QStringList& arguments)
{
    QProcess process;
    process.setWorkingDirectory(QString::fromStdString(at.string()));
    process.start(QStringLiteral("git"), arguments);
    process.waitForFinished(-1);
    if (process.exitCode() != 0)
        qWarning() << arguments << process.readAllStandardError();
    return process.exitCode() == 0 ? process.readAllStandardOutput() : QByteArray("failed");
}

} // namespace

class TestSamples : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void listsTheScenarios()
    {
        QStringList names;
        for (const SampleInfo& sample : listSamples()) {
            QVERIFY(!sample.summary.empty());
            names << QString::fromStdString(sample.name);
        }
        for (const char* name :
             {"moved-upstream", "same-lines", "already-landed", "someone-pushed", "stacked", "hostile"})
            QVERIFY2(names.contains(QLatin1String(name)), name);
        QVERIFY(!names.contains(QStringLiteral("tidebook")));
    }

    void buildsSoundRepositories_data()
    {
        QTest::addColumn<QString>("name");
        for (const SampleInfo& sample : listSamples())
            QTest::addRow("%s", sample.name.c_str()) << QString::fromStdString(sample.name);
    }
    void buildsSoundRepositories()
    {
        QFETCH(QString, name);
        QTemporaryDir folder;
        const auto first = buildSample(name.toStdString(), under(folder, "one"));
        QVERIFY2(first, first ? "" : first.error().line().c_str());
        const auto second = buildSample(name.toStdString(), under(folder, "two"));
        QVERIFY(second);
        for (const auto& [a, b] : {std::pair{first->upstream, second->upstream}, std::pair{first->fork, second->fork},
                                   std::pair{first->clone, second->clone}}) {
            // Source: git fsck, the reference implementation's check of the format.
            const QByteArray found = git(a, {"fsck", "--strict", "--no-dangling"});
            QVERIFY2(found.isEmpty(), found.constData());
            const QByteArray refs = git(a, {"for-each-ref"});
            QVERIFY(refs.contains("refs/heads/main"));
            QCOMPARE(refs, git(b, {"for-each-ref"}));
        }
        QCOMPARE(git(first->clone, {"status", "--porcelain"}), QByteArray());
        QVERIFY(Repository::open(first->clone));
    }

    void refusesAFolderInUse()
    {
        QTemporaryDir folder;
        QVERIFY(buildSample("stacked", under(folder, "one")));
        const auto again = buildSample("stacked", under(folder, "one"));
        QVERIFY(!again);
        QCOMPARE(again.error().kind, ErrorKind::Refused);
    }

    void namesTheSamplesWhenThereIsNone()
    {
        QTemporaryDir folder;
        const auto none = buildSample("no-such", under(folder, "one"));
        QVERIFY(!none);
        QVERIFY(none.error().line().contains("same-lines"));
    }

    void saysWhereARecipeIsWrong_data()
    {
        QTest::addColumn<QByteArray>("text");
        QTest::addColumn<QByteArray>("line");
        QTest::newRow("statement") << QByteArray("summary x\nnonsense\n") << QByteArray("line 2");
        QTest::newRow("person") << QByteArray("person ana Ana\n") << QByteArray("line 1");
        QTest::newRow("parent") << QByteArray(
                                       "person a A <a@b> +0000\nme a\n\ncommit x after y by a at 2026-01-01 10:00\n")
                                << QByteArray("line 4");
        QTest::newRow("date") << QByteArray("person a A <a@b> +0000\nme a\ncommit x by a at soon\n")
                              << QByteArray("line 3");
        QTest::newRow("no such day") << QByteArray("person a A <a@b> +0000\nme a\ncommit x by a at 2026-02-30 10:00\n")
                                     << QByteArray("line 3");
        // Found by tests/fuzz/fuzz_parsers: the minutes overflowed.
        QTest::newRow("no such time") << QByteArray(
                                             "person a A <a@b> +0000\nme a\ncommit x by a at 2026-02-03 10:215014513\n")
                                      << QByteArray("line 3");
        QTest::newRow("zone") << QByteArray("person a A <a@b> +9900000\n") << QByteArray("line 1");
        QTest::newRow("label") << QByteArray("person a A <a@b> +0000\nme a\nref clone main nowhere\n")
                               << QByteArray("line 3");
        QTest::newRow("include") << QByteArray("include no-such\n") << QByteArray("line 1");
    }
    void saysWhereARecipeIsWrong()
    {
        QFETCH(QByteArray, text);
        QFETCH(QByteArray, line);
        QTemporaryDir folder;
        const auto built = buildSampleFromText(text.toStdString(), under(folder, "x"));
        QVERIFY(!built);
        QVERIFY2(built.error().line().contains(line.toStdString()), built.error().line().c_str());
    }
};

QTEST_GUILESS_MAIN(TestSamples)
#include "test_samples.moc"

// SPDX-License-Identifier: MIT
//
// `espalier propose`: the form of its lines and answers.
#include "tests/support/temp_repository.h"

#include <QJsonArray>
#include <QJsonDocument>
#include <QJsonObject>
#include <QtTest>

using namespace espalier::test;

class TestPropose : public QObject {
    Q_OBJECT

    static GitRun propose(const TempRepository& repo, const QStringList& options, const std::string& lines)
    {
        return runProgram(QStringLiteral(ESPALIER_PROGRAM),
                          QStringList{QStringLiteral("propose"), repo.path()} + options, repo.outside(),
                          QByteArray::fromStdString(lines));
    }

  private Q_SLOTS:
    void answers()
    {
        const TempRepository repo;
        const std::string a = repo.writeRaw("blob", "1\n2\n3\nx\n5\n6\n7\n"),
                          n = repo.writeRaw("blob", "1\n2\n3\ny\n5\n6\n7\n"),
                          c = repo.writeRaw("blob", "0\n1\n2\n3\nz\nzz\n5\n6\n7\n");
        const std::string asked = a + '\t' + n + '\t' + c;
        // One that conflicts, one that merges, one that cannot be read, one that is no line, one with a settlement.
        const GitRun run = propose(repo, {"--batch", "--json"},
                                   "doc/a.txt\t" + asked + "\n" + "b\t" + a + '\t' + n + '\t' + a + "\n" + "c\t" + a +
                                       '\t' + std::string(40, '1') + '\t' + c + "\n" + "d only\n" + "doc/a.txt\t" +
                                       asked + "\t\t" + n + "\n");
        QCOMPARE(run.exitCode, 2);
        const QList<QByteArray> lines = run.out.trimmed().split('\n');
        QCOMPARE(lines.size(), 5);
        QCOMPARE(lines[0], QByteArray(R"({"hunks":[{"ancestor":[3,1],"commit":[4,2],"newBase":[3,1],"proposal":null}],)"
                                      R"("path":"doc/a.txt"})"));
        QCOMPARE(lines[1], QByteArray(R"({"hunks":[],"path":"b"})"));
        for (const int wrong : {2, 3}) {
            const QJsonObject answer = QJsonDocument::fromJson(lines[wrong]).object();
            QVERIFY(answer.contains(QStringLiteral("error")) && !answer.contains(QStringLiteral("hunks")));
        }
        QCOMPARE(lines[4], lines[0]);
    }

    void texts()
    {
        const TempRepository repo;
        const std::string a = repo.writeRaw("blob", "1\nx\n3\n"), n = repo.writeRaw("blob", "1\ny\n3\n"),
                          c = repo.writeRaw("blob", "0\n1\nz\n3\n");
        const GitRun run = propose(repo, {"--batch", "--json", "--texts"}, "a\t" + a + '\t' + n + '\t' + c + "\n");
        QCOMPARE(run.exitCode, 0);
        const QJsonArray between = QJsonDocument::fromJson(run.out).object()[QStringLiteral("between")].toArray();
        QCOMPARE(between, (QJsonArray{QStringLiteral("0\n1\n"), QStringLiteral("3\n")}));
    }

    void eachAnswerComesBeforeTheNextLine()
    {
        const TempRepository repo;
        const std::string a = repo.writeRaw("blob", "x\n"), n = repo.writeRaw("blob", "y\n"),
                          c = repo.writeRaw("blob", "z\n");
        QProcess process;
        process.start(QStringLiteral(ESPALIER_PROGRAM), {"propose", repo.path(), "--batch", "--json"});
        for (int i = 0; i < 3; ++i) {
            process.write(QByteArray::fromStdString("a\t" + a + '\t' + n + '\t' + c + "\n"));
            QTRY_VERIFY_WITH_TIMEOUT(process.canReadLine(), 20'000);
            QVERIFY(process.readLine().startsWith("{\"hunks\":[{"));
        }
        process.closeWriteChannel();
        QVERIFY(process.waitForFinished());
        QCOMPARE(process.exitCode(), 0);
    }

    void onlyInBatches()
    {
        const TempRepository repo;
        const GitRun run = propose(repo, {}, {});
        QCOMPARE(run.exitCode, 2);
        QVERIFY(run.err.contains("--batch --json"));
        QVERIFY(run.out.isEmpty());
    }
};

QTEST_GUILESS_MAIN(TestPropose)
#include "test_propose.moc"

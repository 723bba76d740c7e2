// SPDX-License-Identifier: MIT
//
// The commands as scripts use them: the main job end to end on samples, the stable JSON, the exit statuses. Checked against
// git's plumbing (fsck, rev-parse, log, for-each-ref ahead-behind) and against dulwich, an independent reader.
#include "core/keep/apply.h"
#include "core/keep/apply_steps.h"
#include "tests/support/temp_repository.h"

#include <QJsonArray>
#include <QJsonDocument>
#include <QJsonObject>
#include <QProcess>
#include <QTemporaryDir>
#include <QtTest>

#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
using espalier::test::folderState;

namespace {

struct Ended {
    int status = -1;
    QByteArray out, error;
    QJsonDocument json() const { return QJsonDocument::fromJson(out); }
};

Ended run(const QString& program, const QStringList& arguments, const QByteArray& input = {})
{
    QProcess process;
    process.start(program, arguments);
    process.write(input);
    process.closeWriteChannel();
    process.waitForFinished(-1);
    return {process.exitCode(), process.readAllStandardOutput(), process.readAllStandardError()};
}

Ended espalierRun(const QStringList& arguments, const QByteArray& input = {})
{
    return run(QStringLiteral(ESPALIER_PROGRAM), arguments, input);
}

QByteArray gitAt(const QString& at, const QStringList& arguments)
{
    const Ended outcome = run(QStringLiteral("git"), QStringList{QStringLiteral("-C"), at} + arguments);
    if (outcome.status != 0)
        qWarning() << arguments << outcome.error;
    return outcome.status == 0 ? outcome.out.trimmed() : QByteArray("failed");
}

} // namespace

class TestCommands : public QObject {
    Q_OBJECT

    QString build(const QTemporaryDir& folder, const QString& sample)
    {
        const QString at = folder.filePath(sample);
        const Ended built = espalierRun({"sample", sample, at});
        if (built.status != 0)
            qWarning() << built.error;
        return at;
    }

    // A delete of `branch` as a crash leaves it: begun, with another program's lock where it would have to go on.
    void leaveHalfDone(const QString& clone, const QString& branch)
    {
        setApplyStepCallback([](ApplyStep step) {
            if (step == ApplyStep::Locked)
                ::_exit(0);
        });
        const pid_t child = ::fork();
        if (child == 0) {
            auto repository = Repository::open(clone.toStdString());
            ::_exit(repository && checkOut(*repository, branch.toStdString()) ? 1 : 2);
        }
        setApplyStepCallback({});
        int status = 0;
        ::waitpid(child, &status, 0);
        QCOMPARE(WEXITSTATUS(status), 0);
        // What the crash left is cleared away by its mark; this is somebody else's.
        QFile lock(clone + "/.git/theirs");
        QVERIFY(lock.open(QIODevice::WriteOnly));
        lock.close();
        QCOMPARE(::rename(qPrintable(clone + "/.git/theirs"), qPrintable(clone + "/.git/index.lock")), 0);
    }

  private Q_SLOTS:
    // Every command says what is half done: one that writes refuses, one that reads goes on.
    void halfDoneIsSaid()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "same-lines");
        const QString clone = at + "/clone", topic = "topic/metric-heights";
        const QString other = gitAt(clone, {"symbolic-ref", "--short", "HEAD"}) == topic ? "main" : topic;
        leaveHalfDone(clone, other);
        const QByteArray refs = gitAt(clone, {"for-each-ref", "refs/heads"});
        const auto oneLine = [](const Ended& outcome) {
            return outcome.error.count('\n') == 1 && outcome.error.contains("alf done") &&
                   outcome.error.contains("Check out");
        };
        const QList<QStringList> reading{{"drift", clone},
                                         {"dry-run", clone, "--branch", topic, "--onto", "upstream/main"},
                                         {"logbook", clone},
                                         {"layout", clone}};
        for (const QStringList& command : reading) {
            const Ended outcome = espalierRun(command);
            QVERIFY2(outcome.status < 2 && !outcome.out.isEmpty() && oneLine(outcome), outcome.error.constData());
        }
        // It answers what it is asked, here nothing.
        QVERIFY2(oneLine(espalierRun({"propose", clone, "--batch", "--json"})), "propose");
        const QList<QStringList> writing{{"replay", clone, "--branch", topic, "--onto", "upstream/main"},
                                         {"update", clone},
                                         {"push", clone, "--branch", topic},
                                         {"restore", clone, "20260101-000000-1"},
                                         {"overwrite-check", clone, "--branch", topic},
                                         {"logbook", clone, "--forget", "20260101-000000-1"},
                                         {"logbook", clone, "--expire", "0d"}};
        for (const QStringList& command : writing) {
            const Ended outcome = espalierRun(command);
            QVERIFY2(outcome.status == 2 && outcome.error.count("Half done: Check out") == 1 &&
                         outcome.error.contains("index.lock"),
                     outcome.error.constData());
        }
        QCOMPARE(gitAt(clone, {"for-each-ref", "refs/heads"}), refs);
        QVERIFY(QFile::remove(clone + "/.git/index.lock"));
        const Ended done = espalierRun({"update", clone});
        QVERIFY2(done.status == 0 && done.error.contains("after an interruption"), done.error.constData());
        QCOMPARE(espalierRun({"logbook", clone}).error, QByteArray());
    }

    // What only lets go, or looks at the fork, finishes first what is open, as every command that writes.
    void halfDoneIsFinishedFirst_data()
    {
        QTest::addColumn<QStringList>("command");
        QTest::newRow("overwrite-check") << QStringList{"overwrite-check", "PATH", "--branch", "topic/metric-heights"};
        QTest::newRow("logbook --expire") << QStringList{"logbook", "PATH", "--expire", "90d"};
        QTest::newRow("logbook --forget") << QStringList{"logbook", "PATH", "--forget", "ENTRY"};
    }
    void halfDoneIsFinishedFirst()
    {
        QFETCH(QStringList, command);
        QTemporaryDir folder;
        const QString clone = build(folder, "same-lines") + "/clone", topic = "topic/metric-heights";
        const QByteArray before = gitAt(clone, {"symbolic-ref", "--short", "HEAD"});
        leaveHalfDone(clone, before == topic ? "main" : topic);
        QVERIFY(QFile::remove(clone + "/.git/index.lock"));
        const QDir entries(clone + "/.git/espalier/logbook");
        command.replaceInStrings("PATH", clone);
        command.replaceInStrings("ENTRY", entries.entryList({"*.json"}).value(0).chopped(5));
        const Ended outcome = espalierRun(command);
        QVERIFY2(outcome.status < 2 && outcome.error.contains("after an interruption"), outcome.error.constData());
        QCOMPARE(entries.entryList({"*.open"}), QStringList());
        QCOMPARE(gitAt(clone, {"symbolic-ref", "--short", "HEAD"}), before);
    }

    void theWholeJob()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "same-lines");
        const QString clone = at + "/clone", fork = at + "/fork.git";
        const QByteArray oldTip = gitAt(clone, {"rev-parse", "topic/metric-heights"});
        const QByteArray log = QByteArrayLiteral("--format=%an %ae %at %B");
        const QByteArray before = gitAt(clone, {"log", log, "upstream/main..topic/metric-heights"});
        const QStringList what{"--branch", "topic/metric-heights", "--onto", "upstream/main"};

        // A conflict ends with status 1 and nothing changed.
        const auto state = folderState(clone.toStdString());
        QCOMPARE(espalierRun(QStringList{"dry-run", clone, "--json"} + what).status, 1);
        QCOMPARE(espalierRun(QStringList{"replay", clone, "--json"} + what).status, 1);
        QCOMPARE(folderState(clone.toStdString()), state);

        const Ended replayed =
            espalierRun(QStringList{"replay", clone, "--json", "--settle", "your-commit-first"} + what);
        QCOMPARE(replayed.status, 0);
        const QJsonObject answer = replayed.json().object();
        QCOMPARE(answer["commits"].toArray().size(), 3);
        // What was announced is what stands there.
        QCOMPARE(gitAt(clone, {"rev-parse", "topic/metric-heights"}), answer["newTip"].toString().toLatin1());
        QCOMPARE(gitAt(clone, {"rev-parse", "topic/metric-heights^{tree}"}), answer["newTree"].toString().toLatin1());
        QCOMPARE(gitAt(clone, {"log", log, "upstream/main..topic/metric-heights"}), before);
        QCOMPARE(gitAt(clone, {"status", "--porcelain"}), QByteArray());

        const QJsonObject check =
            espalierRun({"overwrite-check", clone, "--json", "--branch", "topic/metric-heights"}).json().object();
        QCOMPARE(check["remoteTip"].toString().toLatin1(), oldTip);
        QCOMPARE(check["pairs"].toArray().size(), 3);
        QVERIFY(!check["fastForward"].toBool());
        QVERIFY(check["foreign"].toArray().isEmpty());
        QCOMPARE(espalierRun({"push", clone, "--branch", "topic/metric-heights"}).status, 1);
        const Ended pushed = espalierRun(
            {"push", clone, "--json", "--branch", "topic/metric-heights", "--expect", QString::fromLatin1(oldTip)});
        QCOMPARE(pushed.status, 0);
        QVERIFY(pushed.json().object()["forced"].toBool());
        QCOMPARE(gitAt(fork, {"rev-parse", "topic/metric-heights"}), answer["newTip"].toString().toLatin1());

        QCOMPARE(espalierRun({"restore", clone, answer["entry"].toString()}).status, 0);
        QCOMPARE(gitAt(clone, {"rev-parse", "topic/metric-heights"}), oldTip);
        QCOMPARE(gitAt(clone, {"status", "--porcelain"}), QByteArray());
        // Source: git fsck, the reference implementation's check of the format.
        for (const char* place : {"/upstream.git", "/fork.git", "/clone"})
            QCOMPARE(gitAt(at + QLatin1String(place), {"fsck", "--strict", "--no-dangling"}), QByteArray());
        // Source: dulwich, a reader of git's format that shares no code with libgit2 or git.
        const Ended dulwich =
            run("/usr/bin/python3", {"-c",
                                     "import sys; from dulwich.repo import Repo\n"
                                     "r = Repo(sys.argv[1]); c = r[r.refs[b'refs/heads/topic/metric-heights']]\n"
                                     "print(c.id.decode(), c.tree.decode(), c.author.decode())",
                                     fork});
        QCOMPARE(dulwich.out.trimmed(), gitAt(fork, {"log", "-1", "--format=%H %T %an <%ae>", "topic/metric-heights"}));
    }

    void theLeaseHolds()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "someone-pushed");
        const QString clone = at + "/clone", fork = at + "/fork.git";
        const Ended checked = espalierRun({"overwrite-check", clone, "--json", "--branch", "topic/spring-warning"});
        QCOMPARE(checked.status, 1);
        const QJsonObject check = checked.json().object();
        QCOMPARE(check["foreign"].toArray().size(), 1);
        const QString seen = check["remoteTip"].toString();
        // A second process moves the fork's branch after the check.
        gitAt(fork, {"update-ref", "refs/heads/topic/spring-warning", "main"});
        const QByteArray moved = gitAt(fork, {"rev-parse", "topic/spring-warning"});
        QCOMPARE(espalierRun({"push", clone, "--branch", "topic/spring-warning", "--expect", seen}).status, 1);
        QCOMPARE(gitAt(fork, {"rev-parse", "topic/spring-warning"}), moved);
    }

    // What was stacked goes together: all or none, each with its own lease.
    void aStackGoesTogether()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "same-lines");
        const QString clone = at + "/clone", fork = at + "/fork.git", topic = "topic/metric-heights";
        gitAt(clone, {"branch", "topic/below", topic + "~1"});
        gitAt(clone, {"push", "--quiet", "origin", "topic/below"});
        gitAt(clone, {"config", "rebase.updateRefs", "true"});
        const QStringList both{"for-each-ref", "--format=%(refname) %(objectname)", "refs/heads/topic/below",
                               "refs/heads/" + topic};
        const QByteArray before = gitAt(fork, both);
        QCOMPARE(espalierRun(
                     {"replay", clone, "--branch", topic, "--onto", "upstream/main", "--settle", "your-commit-first"})
                     .status,
                 0);
        const QByteArray replayed = gitAt(clone, both);
        QVERIFY(before.count('\n') == 1 && replayed.count('\n') == 1);
        for (const QByteArray& line : before.split('\n'))
            QVERIFY2(!replayed.contains(line), line.constData());
        // Without having seen them nothing is overwritten.
        QCOMPARE(espalierRun({"push", clone, "--together", topic + " topic/below"}).status, 1);
        const Ended checked = espalierRun({"overwrite-check", clone, "--together", topic + " topic/below"});
        QCOMPARE(checked.status, 0);
        const QByteArray last = checked.out.trimmed().split('\n').last();
        const qsizetype from = last.indexOf('\''), to = last.lastIndexOf('\'');
        QVERIFY2(last.startsWith("To go on: espalier push PATH --together '") && from < to, last.constData());
        const QString expected = QString::fromUtf8(last.mid(from + 1, to - from - 1));
        QFile hook(fork + "/hooks/update");
        QVERIFY(hook.open(QIODevice::WriteOnly));
        hook.write("#!/bin/sh\n[ \"$1\" != refs/heads/topic/below ]\n");
        hook.close();
        QVERIFY(hook.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
        QCOMPARE(espalierRun({"push", clone, "--together", expected}).status, 1);
        QCOMPARE(gitAt(fork, both), before);
        QVERIFY(hook.remove());
        const Ended pushed = espalierRun({"push", clone, "--json", "--together", expected});
        QVERIFY2(pushed.status == 0, pushed.error.constData());
        QCOMPARE(pushed.json().object()["branches"].toArray().size(), 2);
        QCOMPARE(gitAt(fork, both), replayed);
        QCOMPARE(espalierRun({"overwrite-check", clone, "--json", "--together", topic + " topic/below"})
                     .json()
                     .object()["checks"]
                     .toArray()
                     .size(),
                 2);
    }

    // What the kept tips hold, and letting go of them: of one entry, of what is older than an age.
    void lettingGoOfTheLogbook()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "same-lines");
        const QString clone = at + "/clone";
        QVERIFY(espalierRun({"logbook", clone, "--space"}).out.contains("The logbook is empty."));
        const QStringList replay{"replay", clone,           "--json",   "--branch",         "topic/metric-heights",
                                 "--onto", "upstream/main", "--settle", "your-commit-first"};
        const QString first = espalierRun(replay).json().object()["entry"].toString();
        const QByteArray oldTip = gitAt(clone, {"rev-parse", "refs/espalier/kept/" + first + "/0"});
        QCOMPARE(espalierRun({"restore", clone, first}).status, 0);
        QCOMPARE(gitAt(clone, {"for-each-ref", "--format=x", "refs/espalier/kept"}).count('x'), 2);
        // Commits that nothing but the logbook has: the new ones of the replay that was taken back.
        const QByteArray space = espalierRun({"logbook", clone, "--space"}).out.trimmed().split('\n').last();
        QVERIFY2(space.startsWith("The kept tips hold ") && !space.contains(" hold 0 bytes"), space.constData());
        // A day is not over yet.
        QVERIFY(espalierRun({"logbook", clone, "--expire", "1d"}).out.startsWith("0 entries were let go"));
        QCOMPARE(espalierRun({"logbook", clone, "--expire", "soon"}).status, 2);
        QCOMPARE(espalierRun({"logbook", clone, "--forget", "20200101-000000-1"}).status, 2);
        QCOMPARE(espalierRun({"logbook", clone, "--json", "--forget", first}).json().object()["letGo"].toInt(), 1);
        QCOMPARE(gitAt(clone, {"for-each-ref", "refs/espalier/kept/" + first}), QByteArray());
        QCOMPARE(espalierRun({"logbook", clone, "--json"}).json().array().size(), 1);
        gitAt(clone, {"cat-file", "-e", QString::fromLatin1(oldTip)});
    }

    void updateMovesTheMainLineOnly()
    {
        QTemporaryDir folder;
        const QString at = build(folder, "moved-upstream");
        const QString clone = at + "/clone";
        const QByteArray head = gitAt(clone, {"rev-parse", "HEAD"});
        QCOMPARE(espalierRun({"update", clone}).status, 0);
        const QByteArray upstream = gitAt(at + "/upstream.git", {"rev-parse", "main"});
        QCOMPARE(gitAt(clone, {"rev-parse", "main"}), upstream);
        QCOMPARE(gitAt(at + "/fork.git", {"rev-parse", "main"}), upstream);
        QCOMPARE(gitAt(clone, {"rev-parse", "HEAD"}), head);
        QCOMPARE(gitAt(clone, {"status", "--porcelain"}), QByteArray());
        QCOMPARE(espalierRun({"dry-run", clone, "--branch", "topic/csv-export", "--onto", "upstream/main"}).status, 0);
    }

    void driftCountsAsGitDoes()
    {
        QTemporaryDir folder;
        const QString clone = build(folder, "already-landed") + "/clone";
        const QJsonArray rows = espalierRun({"drift", clone, "--json", "--all-refs"}).json().array();
        QVERIFY(rows.size() > 5);
        for (const QJsonValue& row : rows) {
            const QString ref = row["ref"].toString();
            // Source: git for-each-ref's ahead-behind.
            QCOMPARE(QByteArray::number(row["ahead"].toInt()) + ' ' + QByteArray::number(row["behind"].toInt()),
                     gitAt(clone, {"for-each-ref", "--format=%(ahead-behind:refs/remotes/upstream/main)", ref}));
        }
        QHash<QString, int> landed;
        for (const QJsonValue& row : espalierRun({"drift", clone, "--json"}).json().array())
            landed[row["ref"].toString()] = row["landed"].toInt();
        QCOMPARE(landed["refs/heads/topic/typo-sweep"], 1);
    }

    void batchAnswersInOrder()
    {
        QTemporaryDir folder;
        const QString clone = build(folder, "same-lines") + "/clone";
        const Ended batch =
            espalierRun({"dry-run", clone, "--batch"}, "topic/moon-phase upstream/main\nnowhere upstream/main\n"
                                                       "topic/metric-heights upstream/main\n");
        const QList<QByteArray> lines = batch.out.trimmed().split('\n');
        QCOMPARE(lines.size(), 3);
        QVERIFY(QJsonDocument::fromJson(lines[0]).object()["clean"].toBool());
        QVERIFY(QJsonDocument::fromJson(lines[1]).object().contains("error"));
        const QJsonObject last = QJsonDocument::fromJson(lines[2]).object();
        QVERIFY(!last["clean"].toBool());
        QVERIFY(last["newTip"].isNull());
        QCOMPARE(last["commits"][1]["conflicts"].toArray().size(), 2);
    }

    void saysWhatIsWrong_data()
    {
        QTest::addColumn<QStringList>("arguments");
        QTest::addColumn<int>("status");
        QTest::newRow("no such folder") << QStringList{"drift", "/no/such/folder"} << 2;
        QTest::newRow("missing word") << QStringList{"drift"} << 2;
        QTest::newRow("unknown option") << QStringList{"drift", ".", "--nonsense"} << 2;
        QTest::newRow("missing value") << QStringList{"push", ".", "--branch"} << 2;
        QTest::newRow("together and alone") << QStringList{"push", ".", "--branch", "x", "--together", "x y"} << 2;
        QTest::newRow("together, bad id") << QStringList{"push", ".", "--together", "x:abc y"} << 2;
        QTest::newRow("together, none") << QStringList{"push", ".", "--together", " "} << 2;
        QTest::newRow("bad id") << QStringList{"push", ".", "--branch", "x", "--expect", "abc"} << 2;
        QTest::newRow("no such sample") << QStringList{"sample", "no-such", "/no/such/folder"} << 2;
        QTest::newRow("help") << QStringList{"--help"} << 0;
    }
    void saysWhatIsWrong()
    {
        QFETCH(QStringList, arguments);
        QFETCH(int, status);
        const Ended outcome = espalierRun(arguments);
        QCOMPARE(outcome.status, status);
        if (status != 0)
            QCOMPARE(outcome.error.trimmed().count('\n'), 0);
    }

    // The change is done; the interrupt ends the hook, not the program in the middle of what it says.
    void anInterruptStopsAHook()
    {
        QTemporaryDir folder;
        const QString clone = build(folder, QStringLiteral("same-lines")) + QStringLiteral("/clone");
        const QString hook = clone + QStringLiteral("/.git/hooks/post-rewrite"), mark = folder.filePath("began");
        QDir().mkpath(QFileInfo(hook).path());
        QFile file(hook);
        QVERIFY(file.open(QIODevice::WriteOnly));
        file.write("#!/bin/sh\necho $$ >'" + mark.toUtf8() + ".new'\nmv '" + mark.toUtf8() + ".new' '" + mark.toUtf8() +
                   "'\nsleep 1000\n");
        file.close();
        QVERIFY(file.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
        QProcess process;
        process.start(QStringLiteral(ESPALIER_PROGRAM),
                      {"replay", clone, "--branch", "topic/moon-phase", "--onto", "upstream/main", "--json"});
        QTRY_VERIFY_WITH_TIMEOUT(QFile::exists(mark), 60000);
        QFile began(mark);
        QVERIFY(began.open(QIODevice::ReadOnly));
        const pid_t running = began.readAll().trimmed().toInt();
        QVERIFY(running > 1);
        QCOMPARE(::kill(pid_t(process.processId()), SIGINT), 0);
        QVERIFY(process.waitForFinished(60000));
        QCOMPARE(process.exitStatus(), QProcess::NormalExit);
        QCOMPARE(process.exitCode(), 0);
        const QJsonObject told = QJsonDocument::fromJson(process.readAllStandardOutput()).object();
        QCOMPARE(gitAt(clone, {"rev-parse", "topic/moon-phase"}), told["newTip"].toString().toUtf8());
        QVERIFY(
            process.readAllStandardError().contains("The hook post-rewrite was stopped; the change itself is done"));
        QCOMPARE(::kill(running, 0), -1);
    }
};

QTEST_GUILESS_MAIN(TestCommands)
#include "test_commands.moc"

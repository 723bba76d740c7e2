// SPDX-License-Identifier: MIT
#include "core/git/process.h"

#include <QElapsedTimer>
#include <QTemporaryDir>
#include <QtTest/QtTest>

#include <fcntl.h>
#include <signal.h>
#include <thread>
#include <unistd.h>

using namespace espalier;

class TestProcess : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void outputAndStatus();
    void inputReachesIt();
    void muchBothWays();
    void inputThatNobodyReads();
    void argumentsAreNotForAShell();
    void shellWords_data();
    void shellWords();
    void environmentAndFolder();
    void nothingElseIsOpen();
    void missingProgram();
    void scriptWithoutInterpreter();
    void endedBySignal();
    void stopEndsItAndItsChildren();
    void stopEndsWhatDoesNotHeedIt();
    void stopEndsChildrenThatDoNotHeedIt();
    void stopWhileItHasClosedItsOutput();
    void backgroundChildDoesNotHoldUs();
    void tooMuchOutput();
    void lastWords();
};

namespace {

// Gone, or a zombie that nobody has reaped yet.
bool isGone(pid_t pid)
{
    QFile state(QString("/proc/%1/stat").arg(pid));
    return !state.open(QIODevice::ReadOnly) || state.readAll().contains(") Z ");
}

pid_t pidIn(const std::string& path)
{
    QFile file(QString::fromStdString(path));
    return file.open(QIODevice::ReadOnly) ? file.readAll().trimmed().toInt() : -1;
}

// Runs it until it has written the file, then stops it.
Result<ProcessResult> stopped(const std::string& script, const std::string& pidFile)
{
    std::stop_source source;
    Result<ProcessResult> ended;
    std::thread worker([&] { ended = run({.argv = {"sh", "-c", script, pidFile}, .stop = source.get_token()}); });
    const bool began = QTest::qWaitFor([&] { return QFile::exists(QString::fromStdString(pidFile)); }, 60000);
    source.request_stop();
    worker.join();
    return began ? ended : fail(ErrorKind::Broken, "It did not begin");
}

constexpr char heedless[] = "trap '' TERM HUP; echo $$ >\"$0.new\"; mv \"$0.new\" \"$0\"; while :; do sleep 1; done";

} // namespace

void TestProcess::outputAndStatus()
{
    const auto ended = run({.argv = {"sh", "-c", "echo out; echo err >&2; exit 3"}});
    QVERIFY(ended);
    QCOMPARE(ended->exitCode, 3);
    QVERIFY(!ended->ok());
    QCOMPARE(ended->out, "out\n");
    QCOMPARE(ended->err, "err\n");
}

void TestProcess::inputReachesIt()
{
    const std::string input("a\0b\n\xff", 5);
    QCOMPARE(run({.argv = {"cat"}, .input = input})->out, input);
    QCOMPARE(run({.argv = {"cat"}})->out, "");
}

void TestProcess::muchBothWays()
{
    // More than any pipe holds, in both directions at once.
    std::string input;
    for (int i = 0; i < 400000; ++i)
        input += std::to_string(i) + '\n';
    const auto ended = run({.argv = {"tee", "/dev/stderr"}, .input = input});
    QVERIFY(ended);
    QCOMPARE(ended->out.size(), input.size());
    QVERIFY(ended->out == input);
    QVERIFY(ended->err == input);
}

void TestProcess::inputThatNobodyReads()
{
    const auto ended = run({.argv = {"true"}, .input = std::string(1 << 22, 'x')});
    QVERIFY(ended);
    QVERIFY(ended->ok());
}

void TestProcess::argumentsAreNotForAShell()
{
    QCOMPARE(run({.argv = {"printf", "%s|", "$(id)", "a b", "'", "", "-n"}})->out, "$(id)|a b|'||-n|");
}

void TestProcess::shellWords_data()
{
    QTest::addColumn<QByteArray>("word");
    for (const char* word :
         {"plain", "a b", "it's", "''", "$(touch x)", "`id`", "a\nb", "\\", "\"", "*", "-n", "caf\xe9", ""})
        QTest::newRow(QByteArray(word).toPercentEncoding().constData()) << QByteArray(word);
}

void TestProcess::shellWords()
{
    QFETCH(QByteArray, word);
    const std::string text = word.toStdString();
    QCOMPARE(run({.argv = shellCommand("printf '<%s>' " + shellQuoted(text))})->out, "<" + text + ">");
    QCOMPARE(run({.argv = shellCommand("printf '<%s>'", {text})})->out, "<" + text + ">");
}

void TestProcess::environmentAndFolder()
{
    QTemporaryDir folder;
    qputenv("GIT_DIR", "/nowhere");
    qputenv("ESPALIER_TEST_KEPT", "kept");
    qputenv("ESPALIER_TEST_GONE", "there");
    const auto ended =
        run({.argv = {"sh", "-c", "echo ${GIT_DIR-none} $ESPALIER_TEST_KEPT ${ESPALIER_TEST_GONE-none} $NEW; pwd -P"},
             .environment = {{"ESPALIER_TEST_GONE", std::nullopt}, {"NEW", "new"}},
             .folder = folder.path().toStdString()});
    qunsetenv("GIT_DIR");
    QVERIFY(ended);
    QCOMPARE(ended->out,
             "none kept none new\n" + std::filesystem::canonical(folder.path().toStdString()).string() + "\n");
}

void TestProcess::nothingElseIsOpen()
{
    const int leaked = ::open("/dev/null", O_RDONLY); // without O_CLOEXEC, as a library may do
    QVERIFY(leaked > 2);
    const auto ended = run({.argv = {"sh", "-c", "for n in /proc/$$/fd/*; do echo ${n##*/}; done"}});
    ::close(leaked);
    QVERIFY(ended);
    const QByteArrayList open = QByteArray::fromStdString(ended->out).trimmed().split('\n');
    QVERIFY2(!open.contains(QByteArray::number(leaked)), ended->out.c_str());
}

void TestProcess::missingProgram()
{
    const auto ended = run({.argv = {"espalier-no-such-program"}});
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::NotFound);
    QCOMPARE(ended.error().on, "espalier-no-such-program");
    QCOMPARE(run({.argv = {}}).error().kind, ErrorKind::Usage);
}

void TestProcess::scriptWithoutInterpreter()
{
    QTemporaryDir folder;
    const QString path = folder.filePath("script");
    QFile file(path);
    QVERIFY(file.open(QIODevice::WriteOnly));
    file.write("echo \"$1\"\n");
    file.close();
    QVERIFY(file.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
    const auto ended = run({.argv = {path.toStdString(), "a b"}});
    QVERIFY(ended);
    QCOMPARE(ended->out, "a b\n");
}

void TestProcess::endedBySignal() { QCOMPARE(run({.argv = {"sh", "-c", "kill -KILL $$"}})->exitCode, 128 + SIGKILL); }

void TestProcess::stopEndsItAndItsChildren()
{
    QTemporaryDir folder;
    const std::string pidFile = folder.filePath("pid").toStdString();
    const auto ended = stopped("sleep 600 & echo $! > \"$0.new\"; mv \"$0.new\" \"$0\"; wait", pidFile);
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::Cancelled);
    const pid_t grandchild = pidIn(pidFile);
    QVERIFY(grandchild > 1);
    QTRY_VERIFY_WITH_TIMEOUT(isGone(grandchild), 60000);
}

void TestProcess::stopEndsWhatDoesNotHeedIt()
{
    QTemporaryDir folder;
    const std::string pidFile = folder.filePath("pid").toStdString();
    const auto ended = stopped(heedless, pidFile);
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::Cancelled);
    QVERIFY(pidIn(pidFile) > 1);
    QCOMPARE(::kill(pidIn(pidFile), 0), -1); // reaped too
}

// It goes when it is asked to; what it has started does not.
void TestProcess::stopEndsChildrenThatDoNotHeedIt()
{
    QTemporaryDir folder;
    const std::string pidFile = folder.filePath("pid").toStdString();
    const auto ended =
        stopped("sh -c '" + QByteArray(heedless).replace("'", "'\\''").toStdString() + "' \"$0\" & wait", pidFile);
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::Cancelled);
    const pid_t grandchild = pidIn(pidFile);
    QVERIFY(grandchild > 1);
    const bool gone = QTest::qWaitFor([&] { return isGone(grandchild); }, 10000);
    ::kill(grandchild, SIGKILL);
    QVERIFY(gone);
}

void TestProcess::stopWhileItHasClosedItsOutput()
{
    std::stop_source source;
    std::thread stopper([&] {
        std::this_thread::sleep_for(std::chrono::milliseconds(100));
        source.request_stop();
    });
    const auto ended = run({.argv = {"sh", "-c", "exec >&- 2>&-; exec sleep 600"}, .stop = source.get_token()});
    stopper.join();
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::Cancelled);
    QCOMPARE(run({.argv = {"true"}, .stop = source.get_token()}).error().kind, ErrorKind::Cancelled);
}

void TestProcess::backgroundChildDoesNotHoldUs()
{
    const auto ended = run({.argv = {"sh", "-c", "sleep 600 & echo $!"}});
    QVERIFY(ended);
    const pid_t left = std::stoi(ended->out);
    QCOMPARE(::kill(left, SIGKILL), 0); // it was there still: run() did not wait for it
}

void TestProcess::tooMuchOutput()
{
    const auto ended = run({.argv = {"yes"}, .outputLimit = 100000});
    QVERIFY(!ended);
    QCOMPARE(ended.error().kind, ErrorKind::Broken);
}

void TestProcess::lastWords()
{
    QCOMPARE((ProcessResult{1, "", "first\nerror: \x1b[1mno key.\r\n\n"}.lastWords()), "error: \\x1B[1mno key");
    QCOMPARE(ProcessResult{}.lastWords(), "");
}

QTEST_GUILESS_MAIN(TestProcess)
#include "test_process.moc"

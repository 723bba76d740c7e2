// SPDX-License-Identifier: MIT
//
// Bad inputs: each ends within a bound, with the status that scripts count on and one clear line, and leaves the repository as
// it was.
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QProcess>
#include <QTemporaryDir>
#include <QtTest>

#include <unistd.h>

using namespace espalier::test;

namespace {

constexpr int bound = 60000; // ms: far more than any of them takes, far less than for ever

struct Ended {
    bool inTime = false, normally = false;
    int status = -1;
    QByteArray out, err;
};

void breakOutput()
{
    int ends[2] = {-1, -1};
    if (::pipe(ends) == 0) {
        ::dup2(ends[1], STDOUT_FILENO);
        ::close(ends[0]);
        ::close(ends[1]);
    }
}

QString newestEntry(const Scene& scene)
{
    const QStringList entries = QDir(scene.dotGit() + "/espalier/logbook").entryList({"*.json"}, QDir::Files);
    return entries.isEmpty() ? QStringLiteral("none") : entries.last().chopped(5);
}

QList<BadInput> without(QList<BadInput> inputs, const char* advice)
{
    for (BadInput& input : inputs)
        input.never = advice;
    return inputs;
}

Ended runIt(const BadInput& input, const Scene& scene)
{
    QStringList arguments = input.command;
    arguments.replaceInStrings("PATH", scene.path);
    arguments.replaceInStrings("OUTSIDE", scene.outside);
    arguments.replaceInStrings("ENTRY", newestEntry(scene));
    QProcess process;
    QProcessEnvironment environment = cleanEnvironment(scene.outside);
    environment.remove("GIT_COMMITTER_DATE");
    for (const auto& [name, value] : input.environment)
        environment.insert(name, value);
    process.setProcessEnvironment(environment);
    process.setWorkingDirectory(scene.outside);
    const std::string_view output = input.output ? input.output : "";
    if (output == brokenPipe)
        process.setChildProcessModifier(breakOutput);
    else if (output == closedOutput)
        process.setChildProcessModifier([] { ::close(STDOUT_FILENO); });
    else if (input.output)
        process.setStandardOutputFile(QString::fromLatin1(input.output));
    process.start(QStringLiteral(ESPALIER_PROGRAM), arguments);
    process.closeWriteChannel();
    Ended ended;
    ended.inTime = process.waitForFinished(bound);
    if (!ended.inTime) {
        process.kill();
        process.waitForFinished(-1);
    }
    ended.normally = process.exitStatus() == QProcess::NormalExit;
    ended.status = process.exitCode();
    ended.out = process.readAllStandardOutput();
    ended.err = process.readAllStandardError();
    return ended;
}

// All that is the user's: not the program's own folder, nor objects that nothing names yet.
std::map<std::string, std::string> stateOf(const QString& folder)
{
    auto state = folderState(folder.toStdString());
    std::erase_if(state, [](const auto& file) {
        const bool emptied = file.first.contains(".git/refs/espalier") && file.second.starts_with("2 "); // a folder
        return file.first.contains(".git/espalier") || file.first.contains(".git/objects") || emptied;
    });
    return state;
}

QByteArray changesSince(const std::map<std::string, std::string>& before, const std::map<std::string, std::string>& now)
{
    QByteArray changed;
    for (const auto& [file, contents] : before)
        if (const auto at = now.find(file); at == now.end() || at->second != contents)
            changed += QByteArray::fromStdString(file) + ' ';
    for (const auto& [file, contents] : now)
        if (!before.contains(file))
            changed += '+' + QByteArray::fromStdString(file) + ' ';
    return changed;
}

} // namespace

class TestBadInputs : public QObject {
    Q_OBJECT

    TideTemplate m_template;
    QList<BadInput> m_inputs;

  private Q_SLOTS:
    void initTestCase()
    {
        // No space on the disk mends an object, and nothing that git looks for a setting.
        m_inputs = without(badObjects(), "free space") + without(badRefs(), "free space") +
                   without(badSettings(), "git fsck") + without(badFiles(), "git fsck") + badOwnFiles() + badOutputs() +
                   badArguments();
        QVERIFY2(m_inputs.size() >= 160, QByteArray::number(m_inputs.size()).constData());
    }

    void each_data()
    {
        QTest::addColumn<int>("index");
        for (qsizetype i = 0; i < m_inputs.size(); ++i)
            QTest::newRow(m_inputs[i].name) << int(i);
    }
    void each()
    {
        QFETCH(int, index);
        const BadInput& input = m_inputs[index];
        QTemporaryDir folder;
        const Scene scene = m_template.copyTo(folder.path());
        if (input.setUp)
            input.setUp(scene);
        if (QTest::currentTestFailed())
            return;
        const auto before = stateOf(folder.path());
        const Ended ended = runIt(input, scene);
        const QByteArray told = "status " + QByteArray::number(ended.status) + "\n" + ended.out + ended.err;
        QVERIFY2(ended.inTime, ("did not end: " + told).constData());
        QVERIFY2(ended.normally, ("crashed: " + told).constData());
        QVERIFY2(ended.status == input.status, told.constData());
        const qsizetype lines = ended.err.count('\n');
        const bool asMany = lines <= input.mostLines && (input.mostLines == 0 || lines >= 1);
        QVERIFY2(input.status == 0 || asMany, told.constData());
        for (const QByteArray& line : ended.err.split('\n'))
            QVERIFY2(line.isEmpty() || line.startsWith("espalier: "), told.constData());
        QVERIFY2(!ended.err.contains("[no error]"), told.constData());
        for (const QByteArray& word : input.words)
            QVERIFY2(ended.err.contains(word), ("without '" + word + "': " + told).constData());
        QVERIFY2(ended.err.contains(input.remedy), ("without '" + input.remedy + "': " + told).constData());
        QVERIFY2(!input.remedy.isEmpty() || ended.err.isEmpty(), ("no remedy is asked for: " + told).constData());
        QVERIFY2(input.never.isEmpty() || !ended.err.contains(input.never), told.constData());
        if (input.after) {
            const QByteArray wrong = input.after(scene);
            QVERIFY2(wrong.isEmpty(), (wrong + ": " + told).constData());
        } else {
            QCOMPARE(changesSince(before, stateOf(folder.path())), QByteArray());
        }
    }

    // A loose object of every length up to the whole: no command waits for the rest.
    void truncated_data()
    {
        QTest::addColumn<QString>("object");
        for (const char* object : {"topic", "topic^{tree}", "topic:notes.txt", "topic^", "main"})
            QTest::newRow(object) << QString::fromLatin1(object);
    }
    void truncated()
    {
        QFETCH(QString, object);
        QTemporaryDir folder;
        const Scene scene = m_template.copyTo(folder.path());
        const QString file = scene.loose(object);
        const QByteArray whole = scene.read(file);
        const QString brief = QString::fromLatin1(scene.git({"rev-parse", object})).left(12);
        const QList<QStringList> commands{{"drift", "PATH"},
                                          {"dry-run", "PATH", "--branch", "topic", "--onto", "main"},
                                          {"dry-run", "PATH", "--branch", brief, "--onto", "main"},
                                          {"dry-run", "PATH", "--branch", "topic~1", "--onto", "main"},
                                          {"layout", "PATH"}};
        // All of the first bytes, then the last ones: in between lies nothing else than more of the same.
        std::vector<qsizetype> lengths;
        for (qsizetype length = 0; length < whole.size(); ++length)
            if (length <= 24 || length % 8 == 0 || length + 4 > whole.size())
                lengths.push_back(length);
        std::size_t turn = 0;
        for (const qsizetype length : lengths) {
            scene.write(file, whole.left(length));
            const auto before = stateOf(folder.path());
            const QStringList& command = commands[qsizetype(turn++) % commands.size()];
            const Ended ended = runIt({"", {}, command, 0, {}, {}}, scene);
            const QByteArray told = command.join(' ').toUtf8() + " at " + QByteArray::number(length) + ": status " +
                                    QByteArray::number(ended.status) + '\n' + ended.out + ended.err;
            QVERIFY2(ended.inTime && ended.normally, told.constData());
            // Where the command needs the object it says so.
            QVERIFY2(ended.status == 0 || ended.err.count('\n') >= 1, told.constData());
            QCOMPARE(changesSince(before, stateOf(folder.path())), QByteArray());
        }
    }
};

QTEST_GUILESS_MAIN(TestBadInputs)
#include "test_bad_inputs.moc"

// SPDX-License-Identifier: MIT
//
// The short form of tests/faults/every-step and random-operations: every operation that writes, with a spread of its calls
// gone wrong, beside other programs, on full disks. Which calls: by a seed, FAULTS_SEED, always the same unless one is given; all
// of them come in the long form. What it has to look like afterwards: fault_scene.h.
#include "tests/faults/fault_scene.h"
#include "tests/faults/random_rounds.h"

#include <QtTest/QtTest>

#include <set>
#include <unistd.h>

using namespace espalier::test;

namespace {

std::string joined(const std::vector<std::string>& lines)
{
    std::string text;
    for (const std::string& line : lines)
        text += line + '\n';
    return text;
}

// Written on the other side, which here is on the same disk. When the git there is killed its lock stays, as it does for git;
// the next command names it and says what to do.
bool isOfGitItself(const std::string& call) { return call.contains("fork.git/"); }

} // namespace

class TestFaults : public QObject {
    Q_OBJECT

    unsigned m_seed = 0;
    std::filesystem::path m_root;

  private Q_SLOTS:
    void initTestCase()
    {
        m_seed = qEnvironmentVariableIsSet("FAULTS_SEED") ? qEnvironmentVariable("FAULTS_SEED").toUInt() : 1;
        qInfo("FAULTS_SEED=%u", m_seed);
        m_root = scratchFolder() / ("espalier-test-" + std::to_string(::getpid()));
    }

    void atSomeCalls_data()
    {
        QTest::addColumn<QString>("name");
        for (const Operation& operation : operations())
            QTest::newRow(operation.name.c_str()) << QString::fromStdString(operation.name);
    }
    void atSomeCalls()
    {
        QFETCH(QString, name);
        FaultScene scene(m_root, operationNamed(name.toStdString()));
        QVERIFY(scene.calls() > 3);
        const std::vector<std::string> kinds{"kill", "fail:EIO", "kill", "tear:ENOSPC", "cut", "full"};
        constexpr unsigned rounds = 2;
        const auto first =
            unsigned(std::ranges::find(operations(), name.toStdString(), &Operation::name) - operations().begin());
        for (unsigned i = 0; i < rounds; ++i) {
            const unsigned at =
                1 + (m_seed * 7 + (2 * i + 1) * std::max(1U, scene.calls() / (2 * rounds))) % scene.calls();
            const std::string& kind = kinds[(m_seed + first + 3 * i) % kinds.size()];
            const bool kills = kind == "kill" || kind == "cut";
            if (kills && isOfGitItself(scene.callNamed(at)))
                continue;
            const Fault fault{.below = {}, .at = at, .kind = kind};
            const auto wrong = scene.round(fault);
            QVERIFY2(wrong.empty(),
                     (fault.kind + " at " + std::to_string(at) + " (" + scene.callNamed(at) + "): " + joined(wrong))
                         .c_str());
        }
        // Killed, and the same command given again.
        const unsigned at = 1 + (m_seed * 11 + first * 5 + scene.calls() / 2) % scene.calls();
        if (isOfGitItself(scene.callNamed(at)))
            return;
        const auto wrong = scene.again({.below = {}, .at = at, .kind = "kill"});
        QVERIFY2(wrong.empty(), ("repeated after " + scene.callNamed(at) + ": " + joined(wrong)).c_str());
    }

    // Where something was lost or left once: the flush of the logbook's folder, whose entry was begun for ever; that of the fork's
    // branch, which had moved over somebody's commit that nothing else kept; a log that goes after its branch or comes before it,
    // in the way of a name that goes on from it; what is half written for git's record of resolutions; an entry that is let go.
    void whereItDidHarm_data()
    {
        QTest::addColumn<QString>("operation");
        QTest::addColumn<QString>("kind");
        QTest::addColumn<QString>("call");
        const auto row = [](const char* name, const char* operation, const char* kind, const char* call) {
            QTest::newRow(name) << operation << kind << call;
        };
        const char* const branch = "\t(fsync|rename)\t.*fork\\.git/refs/heads/topic/x";
        row("the logbook's folder", "replay", "fail:EIO", "\tfsync\t.*/espalier/logbook(\t|$)");
        row("the logbook's folder, forgetting", "forget", "fail:EIO", "\tfsync\t.*/espalier/logbook(\t|$)");
        row("the logbook's entry", "replay", "fail:EIO", "\tfsync\t.*/espalier/logbook/[^/]*\\.json");
        row("the fork's branch", "push-over-stranger", "fail:EIO", branch);
        row("the fork's branch, several", "push-together", "fail:EIO", branch);
        row("a log that goes", "fetch-prunes", "again", "\tunlink\t.*/logs/refs/remotes/origin/gone/there");
        row("a log that comes", "restore-pruned", "fail:EIO", "\twrite\t.*/logs/refs/remotes/origin/rewritten");
        row("a resolution for git", "replay-settle", "kill", "\t(rename|fsync)\t.*/(preimage|postimage)\\.new");
        row("a resolution for git, repeated", "replay-settle", "again", "\trename\t.*/(preimage|postimage)\\.new");
        row("an entry that is let go", "forget", "again", "\t(fsync|unlink)\t.*/espalier/logbook(\t|$)");
    }
    void whereItDidHarm()
    {
        QFETCH(QString, operation);
        QFETCH(QString, kind);
        QFETCH(QString, call);
        FaultScene scene(m_root, operationNamed(operation.toStdString()));
        const QRegularExpression pattern(call);
        int harmed = 0;
        const auto log = scene.callLog();
        for (std::size_t i = 0; i < log.size(); ++i) {
            if (!pattern.match(QString::fromStdString(log[i])).hasMatch())
                continue;
            const unsigned at = unsigned(i) + 1;
            const auto wrong = kind == "again" ? scene.again({.below = {}, .at = at, .kind = "kill"})
                                               : scene.round({.below = {}, .at = at, .kind = kind.toStdString()});
            QVERIFY2(wrong.empty(), (log[i] + ": " + joined(wrong)).c_str());
            ++harmed;
        }
        QVERIFY2(harmed > 0, joined(log).c_str());
    }

    void inTheRecoveryToo()
    {
        FaultScene scene(m_root, operationNamed("replay"));
        for (unsigned i = 0; i < 2; ++i) {
            const unsigned at = scene.calls() / 3 + (m_seed + i * 11) % (scene.calls() / 2);
            const Fault first{.below = {}, .at = at, .kind = "kill"};
            const Fault second{.below = {}, .at = 1 + (m_seed + i * 5) % 40, .kind = i % 2 ? "kill" : "fail:EIO"};
            const auto wrong = scene.round(first, second);
            QVERIFY2(wrong.empty(),
                     (scene.callNamed(at) + ", then " + std::to_string(second.at) + ": " + joined(wrong)).c_str());
        }
    }

    void besideOthers_data()
    {
        QTest::addColumn<QString>("name");
        for (const auto& [name, command] : secondPrograms())
            QTest::newRow(name.c_str()) << QString::fromStdString(name);
    }
    void besideOthers()
    {
        QFETCH(QString, name);
        const char* const operation = name == "gc-fork" ? "push" : m_seed % 2 ? "replay" : "update-checked-out";
        FaultScene scene(m_root, operationNamed(operation));
        const unsigned at = 1 + (m_seed * 3 + scene.calls() / 3) % scene.calls();
        const auto wrong = scene.beside(at, secondPrograms().at(name.toStdString()));
        QVERIFY2(wrong.empty(), (scene.callNamed(at) + ": " + joined(wrong)).c_str());
    }

    // Where another program did harm once: between what a ref is to lead to and the ref, and while HEAD is held.
    void betweenTwoSteps_data()
    {
        QTest::addColumn<QString>("operation");
        QTest::addColumn<QString>("program");
        QTest::addColumn<QString>("until"); // the last call like `step` before the first like this
        QTest::addColumn<QString>("step");
        const char* const notes = "/refs/notes/commits\\.lock";
        QTest::newRow("gc before a fetched ref")
            << "update" << "gc" << "/refs/remotes/upstream/main\\.lock" << "\tfsync\t.*/0(\\t|$)";
        QTest::newRow("gc before the notes' ref") << "replay" << "gc" << notes << "\tfsync\t.*/0(\\t|$)";
        QTest::newRow("gc before a note's commit") << "replay" << "gc" << notes << "\tlink\t.*/\\.git/objects/";
        // Where git has looked for what the branch leads to, and moves it all the same.
        QTest::newRow("gc of the fork before a new branch")
            << "push" << "gc-fork" << "" << "\twrite\t.*fork\\.git/refs/heads/topic/y\\.lock";
        QTest::newRow("gc of the fork before a branch that is overwritten")
            << "push-forced" << "gc-fork" << "" << "\twrite\t.*fork\\.git/refs/heads/topic/x\\.lock";
        QTest::newRow("gc of the fork before its main line")
            << "update" << "gc-fork" << "" << "\trename\t.*fork\\.git/refs/heads/main\\.lock";
        QTest::newRow("checkout while a branch goes") << "delete" << "check-out" << "\trename\t.*/packed-refs$"
                                                      << "\topen\t.*/locks/";
        QTest::newRow("a push while ours is taken") << "push-forced" << "stranger" << ""
                                                    << "\trmdir\t.*/tmp_objdir-incoming-[^/]*/pack(\\t|$)";
    }
    void betweenTwoSteps()
    {
        QFETCH(QString, operation);
        QFETCH(QString, program);
        QFETCH(QString, until);
        QFETCH(QString, step);
        FaultScene scene(m_root, operationNamed(operation.toStdString()));
        const auto log = scene.callLog();
        const auto isLike = [](const QString& pattern) {
            return [like = QRegularExpression(pattern)](const std::string& line) {
                return like.match(QString::fromStdString(line)).hasMatch();
            };
        };
        const auto end = until.isEmpty() ? log.end() : std::ranges::find_if(log, isLike(until));
        const auto found = std::ranges::find_last_if(log.begin(), end, isLike(step));
        QVERIFY2((until.isEmpty() || end != log.end()) && !found.empty(), joined(log).c_str());
        const unsigned at = unsigned(found.begin() - log.begin()) + 1;
        const auto wrong = scene.beside(at, secondPrograms().at(program.toStdString()));
        QVERIFY2(wrong.empty(), (scene.callNamed(at) + ": " + joined(wrong)).c_str());
    }

    void onAFullDisk()
    {
        SmallDisk disk(m_root);
        if (!disk.isThere())
            QSKIP(disk.reason().c_str());
        for (const char* name : {"replay", "push-over-stranger", "move-to-topic"}) {
            disk.setRoom(std::nullopt);
            FaultScene scene(m_root / "small", operationNamed(name));
            for (unsigned i = 0; i < 2; ++i) {
                const std::size_t room = (m_seed % 5 + i * 15) * 4096;
                const auto wrong = scene.withRoom(disk, room);
                QVERIFY2(wrong.empty(), (name + (", " + std::to_string(room)) + " bytes: " + joined(wrong)).c_str());
            }
        }
    }

    // What a power cut must not take: the new contents of a file of git's are on the disk before they get its name.
    void flushedBeforeTheirName()
    {
        FaultScene scene(m_root, operationNamed("replay"));
        std::set<std::string> written;
        int renamed = 0;
        for (const std::string& line : scene.callLog()) {
            const auto parts = QString::fromStdString(line).split('\t');
            const std::string call = parts.value(1).toStdString(), path = parts.value(2).toStdString();
            const std::string to = parts.value(3).toStdString();
            if (call == "write" || call == "mmap")
                written.insert(path);
            else if (call == "fsync")
                written.erase(path);
            else if (call == "rename" && to.ends_with("/index.espalier")) {
                // The program's own copy, which becomes the index later.
                if (written.erase(path) > 0)
                    written.insert(to);
            } else if (call == "rename" && to.find("/.git/") != std::string::npos) {
                QVERIFY2(!written.contains(path), line.c_str());
                ++renamed;
            }
        }
        QVERIFY(renamed > 5);
    }

    void randomOnes()
    {
        const RandomReport report = randomOperations(m_root, 6, m_seed);
        QVERIFY2(report.wrong.empty(), ("seed " + std::to_string(m_seed) + ": " + joined(report.wrong)).c_str());
    }
};

QTEST_GUILESS_MAIN(TestFaults)
#include "test_faults.moc"

// SPDX-License-Identifier: MIT
//
// README, "Getting everything back with git alone": the commands that are printed there, run as they stand, bring the old
// branches back, here and on the fork, and let an entry go.
#include "core/keep/logbook.h"
#include "tests/support/remote_scene.h"
#include "tests/support/replay_scene.h"

#include <QFile>
#include <QtTest/QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {

// The commands of the section, one a line.
QStringList printedCommands()
{
    QFile file(QStringLiteral(ESPALIER_SOURCE_DIR "/README.md"));
    if (!file.open(QIODevice::ReadOnly))
        return {};
    const QString text = QString::fromUtf8(file.readAll());
    const QString section =
        text.section(QStringLiteral("## Getting everything back"), 1).section(QStringLiteral("\n## "), 0, 0);
    QStringList commands;
    for (const QString& line : section.split('\n'))
        if (line.startsWith(QStringLiteral("    ")) && !line.trimmed().startsWith('#'))
            commands << line.trimmed();
    return commands;
}

class ByHand {
  public:
    explicit ByHand(const RemoteScene& scene) : m_scene(scene) {}
    // Runs the printed command that holds `words`; there has to be exactly one.
    std::string run(const QString& words, const std::string& entry, const std::string& now = {}) const
    {
        const QStringList found = printedCommands().filter(words);
        if (found.size() != 1) {
            QTest::qFail(qPrintable("printed " + QString::number(found.size()) + " times: " + words), __FILE__,
                         __LINE__);
            return {};
        }
        const GitRun ran = runProgram(
            "sh", {"-e", "-c", found.front()}, m_scene.repo.path(), {},
            {{"ENTRY", QString::fromStdString(entry)}, {"BRANCH", "topic/x"}, {"NEW", QString::fromStdString(now)}});
        if (ran.exitCode != 0)
            QTest::qFail((found.front().toUtf8() + ": " + ran.err).constData(), __FILE__, __LINE__);
        return ran.out.toStdString();
    }

  private:
    const RemoteScene& m_scene;
};

void espalierRuns(const RemoteScene& scene, QStringList arguments)
{
    arguments.insert(1, scene.repo.path());
    const GitRun ran = runProgram(QStringLiteral(ESPALIER_PROGRAM), arguments, scene.repo.path());
    if (ran.exitCode != 0)
        QTest::qFail((arguments.join(' ').toUtf8() + ": " + ran.err).constData(), __FILE__, __LINE__);
}

} // namespace

class TestByHand : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void everythingComesBack()
    {
        RemoteScene scene;
        const ByHand hand(scene);
        const QString branch = QStringLiteral("topic/x");
        espalierRuns(scene, {"update"});
        espalierRuns(scene, {"replay", "--branch", branch, "--onto", "upstream/main"});
        const std::string old = scene.topic[1], now = scene.repo.git({"rev-parse", branch});
        QVERIFY(old != now);
        espalierRuns(scene, {"push", "--branch", branch, "--expect", QString::fromStdString(old)});
        QCOMPARE(scene.forkAt(branch), now);
        const auto entries = readLogbook(scene.repo.open()).value();
        QCOMPARE(entries[0].kind, EntryKind::Push);
        QCOMPARE(entries[1].kind, EntryKind::Replay);
        const std::string push = entries[0].id, replay = entries[1].id;

        const std::string listed = hand.run("--sort=refname", replay);
        QVERIFY(listed.find(replay) != std::string::npos && listed.find(push) != std::string::npos);
        const std::string told = hand.run("cat ", replay);
        for (const std::string& part : {std::string("refs/heads/topic/x"), old, now, std::string("Mira Holm")})
            QVERIFY2(told.find(part) != std::string::npos, part.c_str());

        hand.run("git branch --force", replay);
        QCOMPARE(scene.repo.git({"rev-parse", branch}), old);
        scene.repo.git({"checkout", "--quiet", "-B", branch, QString::fromStdString(now)});
        scene.repo.writeFile("untracked.txt", "untracked\n");
        hand.run("git reset --keep", replay);
        QCOMPARE(scene.repo.git({"rev-parse", "HEAD"}), old);
        QCOMPARE(scene.repo.git({"status", "--porcelain"}), "?? untracked.txt");

        hand.run("--force-with-lease", push, now);
        QCOMPARE(scene.forkAt(branch), old);

        for (const std::string& entry : {push, replay}) {
            hand.run("rm ", entry);
            hand.run("--stdin", entry);
        }
        QCOMPARE(scene.repo.git({"for-each-ref", "refs/espalier/kept/" + QString::fromStdString(push)}), "");
        const auto left = readLogbook(scene.repo.open()).value();
        for (const LogbookEntry& entry : left)
            QVERIFY(entry.id != push && entry.id != replay);
        scene.checkSound();
    }

    // Every command of the section is one of those above.
    void noneIsUntested() { QCOMPARE(printedCommands().size(), 7); }
};

QTEST_GUILESS_MAIN(TestByHand)
#include "test_by_hand.moc"

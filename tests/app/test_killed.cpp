// SPDX-License-Identifier: MIT
//
// The program is killed, with a signal that nobody can catch, after each single decision and each typed word, as soon as it has
// told that it is kept; opened again, none is lost. The program is this test itself with --child: it opens the replay on the settle
// page, does one more step of the work, and kills itself.
#include "app/settle/conflict_editor.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/history/snapshot.h"
#include "core/settle/memory_store.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

#include <csignal>

using namespace espalier;
using namespace espalier::test;

namespace {

constexpr int patience = 30000;
constexpr int hunks = 6, words = 4;
constexpr int steps = hunks + words;
constexpr Choice choices[]{Choice::NewBase, Choice::YourCommit, Choice::NewBaseFirst, Choice::YourCommitFirst};

// Hunk by hunk a choice, the last one typed, word by word; then one of them once more.
std::string typedAfter(int step)
{
    std::string text;
    for (int i = hunks - 1; i <= step && i < hunks - 1 + words; ++i)
        text += "word" + std::to_string(i);
    return text;
}

Plan planOf(const Repository& repository)
{
    PlanOptions options;
    options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
    const auto snapshot = takeSnapshot(repository).value();
    return planBranch(repository, *snapshot, "refs/heads/topic/x", *repository.resolve("main"), "main", options)
        .value();
}

void doStep(ConflictEditor& editor, int step)
{
    if (step < hunks - 1 || step == steps - 1) {
        editor.setCurrentHunk(step % hunks);
        editor.decide(choices[step % 4]);
        return;
    }
    editor.setCurrentHunk(hunks - 1);
    TextPane* middle = editor.pane(ConflictEditor::Pane::Settled);
    middle->moveCursor(QTextCursor::EndOfBlock);
    QTest::keyClicks(middle, QStringLiteral("word%1").arg(step));
}

int child(const QString& path, int step)
{
    Session session;
    session.open(path);
    if (!QTest::qWaitFor([&] { return session.isOpen(); }, patience))
        return 2;
    ReplayFlow flow(&session);
    SettlePage page(&session, &flow);
    page.resize(1000, 700);
    page.show();
    flow.start(planOf(Repository::open(path.toStdString()).value()));
    if (!QTest::qWaitFor([&] { return flow.run() && !flow.isBusy(); }, patience))
        return 3;
    page.begin();
    auto* editor = page.findChild<ConflictEditor*>();
    if (!QTest::qWaitFor([&] { return editor->currentHunk() >= 0; }, patience))
        return 4;
    QObject::connect(&flow, &ReplayFlow::saved, [] { std::raise(SIGKILL); });
    doStep(*editor, step);
    QTest::qWait(patience);
    return 5; // it was never said to be kept
}

} // namespace

class TestKilled : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void nothingIsLost()
    {
        TempRepository repo;
        const auto file = [](const std::string& word) {
            std::string text;
            for (int i = 0; i < hunks; ++i)
                text += "between\nthe\nhunks\nthere\nis\nroom " + std::to_string(i) + "\n" + word + std::to_string(i) +
                        "\n";
            return text + "end\n";
        };
        repo.git({"config", "user.name", "Mira Sol"});
        repo.git({"config", "user.email", "mira@example.org"});
        const std::string base = repo.commitFiles({{"a.txt", file("old ")}}, "Root", {}, "main");
        repo.commitFiles({{"a.txt", file("mine ")}}, "Mine", {base}, "topic/x");
        repo.commitFiles({{"a.txt", file("theirs ")}}, "Theirs", {base}, "main");
        const Repository opened = repo.open();
        const Plan plan = planOf(opened);
        for (int step = 0; step < steps; ++step) {
            QProcess process;
            process.start(QCoreApplication::applicationFilePath(),
                          {QStringLiteral("--child"), repo.path(), QString::number(step)});
            QVERIFY(process.waitForFinished(3 * patience));
            QVERIFY2(process.exitStatus() == QProcess::CrashExit,
                     qPrintable(QStringLiteral("step %1 ended with %2").arg(step).arg(process.exitCode())));
            const Settlements kept = loadOpenSettlements(opened, replayKey(plan));
            QCOMPARE(kept.files().size(), std::size_t(1));
            const FileSettlement& made = kept.files().begin()->second;
            QCOMPARE(made.hunkCount(), std::size_t(hunks));
            for (int i = 0; i < hunks - 1; ++i) {
                const Choice wanted = step == steps - 1 && i == step % hunks ? choices[step % 4]
                                      : i <= step                            ? choices[i % 4]
                                                                             : Choice::Undecided;
                QCOMPARE(made.decision(std::size_t(i)).choice, wanted);
            }
            if (step >= hunks - 1)
                QCOMPARE(made.decision(hunks - 1).text, typedAfter(step) + "\n");
        }
    }
};

int main(int argc, char** argv)
{
    const QApplication application(argc, argv);
    if (argc == 4 && std::string_view(argv[1]) == "--child")
        return child(QString::fromLocal8Bit(argv[2]), std::atoi(argv[3]));
    TestKilled test;
    return QTest::qExec(&test, argc, argv);
}
#include "test_killed.moc"

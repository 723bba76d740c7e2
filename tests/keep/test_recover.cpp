// SPDX-License-Identifier: MIT
//
// A change is stopped at every one of its steps (the process ends there, as a power cut would end it), and resolveOpenEntries() has
// to complete or undo it: nothing lost, nothing half done, no lock left, and the same change works afterwards. The
// reference for the state is git itself.
#include "core/keep/apply.h"
#include "core/keep/apply_steps.h"
#include "core/keep/recover.h"
#include "tests/support/replay_scene.h"

#include <QFile>
#include <QtTest/QtTest>

#include <filesystem>
#include <fstream>

#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
using namespace espalier::test;

namespace {

namespace fs = std::filesystem;
using Work = std::function<bool(const Repository&)>;

std::string refAt(const TempRepository& repo, const std::string& name)
{
    const GitRun run = repo.tryGit({"rev-parse", "--verify", "--quiet", QString::fromStdString(name)});
    return run.exitCode == 0 ? run.out.trimmed().toStdString() : std::string();
}

enum Ending { Stopped = 9, Finished = 0, Failed = 1 };

// Does the work in a process of its own that ends at the `stopAt`-th step (counted from 0), without any clean-up.
int runStopped(const fs::path& path, const Work& work, int stopAt)
{
    const pid_t child = ::fork();
    if (child == 0) {
        int count = 0;
        setApplyStepCallback([&](ApplyStep) {
            if (count++ == stopAt)
                ::_exit(Stopped);
        });
        auto repository = Repository::open(path);
        ::_exit(repository && work(*repository) ? Finished : Failed);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : Failed;
}

std::vector<std::string> lockFiles(const fs::path& gitDir)
{
    std::vector<std::string> found;
    for (const auto& file : fs::recursive_directory_iterator(gitDir)) {
        const std::string name = file.path().filename().string();
        if (name.ends_with(".lock") || name.ends_with(".open") || name.ends_with(".espalier"))
            found.push_back(file.path().string());
    }
    return found;
}

// Where every branch and HEAD stand, and what the worktree holds.
struct State {
    std::string refs, head;
    std::map<std::string, std::string> files;
    std::string status, config;
    friend bool operator==(const State&, const State&) = default;
};

State stateOf(const ReplayScene& scene)
{
    return {scene.repo.git({"for-each-ref", "--format=%(refname) %(objectname)", "refs/heads"}),
            scene.repo.readFile(".git/HEAD"), scene.worktree(), scene.status(),
            scene.repo.tryGit({"config", "--local", "--get-regexp", "^branch\\."}).out.toStdString()};
}

void prepare(ReplayScene& scene)
{
    scene.repo.git({"config", "branch.topic/x.description", "what it is for"});
    scene.repo.git({"config", "--add", "branch.topic/x.merge", "refs/heads/one"});
    scene.repo.git({"config", "--add", "branch.topic/x.merge", "refs/heads/two"});
    // Local changes that are in nobody's way must come through everything.
    scene.repo.writeFile("keep.txt", "changed\n");
    scene.repo.writeFile("staged.txt", "staged\n");
    scene.repo.git({"add", "staged.txt"});
    scene.repo.writeFile("untracked.txt", "untracked\n");
}

Work workNamed(const QString& name, const ReplayScene& scene)
{
    if (name == "replay")
        return [rewrite = scene.rewrite()](const Repository& r) { return apply(r, rewrite).has_value(); };
    if (name == "check-out")
        return [](const Repository& r) { return checkOut(r, "main").has_value(); };
    if (name == "rename")
        return [](const Repository& r) { return renameBranch(r, "topic/x", "renamed").has_value(); };
    if (name == "rename-below")
        return [](const Repository& r) { return renameBranch(r, "topic/x", "topic/x/y").has_value(); };
    if (name == "move-to-topic")
        return [to = oid(scene.base)](const Repository& r) {
            return moveToTopic(r, "topic/x", "topic/y", to).has_value();
        };
    if (name == "create")
        return [at = oid(scene.main)](const Repository& r) { return createBranch(r, "topic/z", at, true).has_value(); };
    if (name == "delete")
        return [](const Repository& r) { return deleteBranch(r, "main").has_value(); };
    return [](const Repository& r) { return restore(r, readLogbook(r)->front().id).has_value(); };
}

} // namespace

class TestRecover : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void stoppedAtEveryStep_data()
    {
        QTest::addColumn<QString>("name");
        for (const char* name :
             {"replay", "check-out", "rename", "rename-below", "move-to-topic", "create", "delete", "restore"})
            QTest::newRow(name) << name;
    }
    void stoppedAtEveryStep()
    {
        QFETCH(QString, name);
        State before, after;
        int undone = 0, completed = 0;
        for (int step = 0;; ++step) {
            ReplayScene scene;
            prepare(scene);
            const fs::path path = scene.repo.fsPath();
            if (name == "restore")
                QVERIFY(workNamed("replay", scene)(scene.repo.open()));
            const std::size_t entriesBefore = readLogbook(scene.repo.open())->size();
            const Work work = workNamed(name, scene);
            if (step == 0) {
                ReplayScene undisturbed;
                prepare(undisturbed);
                if (name == "restore")
                    QVERIFY(workNamed("replay", undisturbed)(undisturbed.repo.open()));
                before = stateOf(undisturbed);
                QVERIFY(workNamed(name, undisturbed)(undisturbed.repo.open()));
                after = stateOf(undisturbed);
                QVERIFY(!(before == after));
            }
            const int ending = runStopped(path, work, step);
            QVERIFY(ending != Failed);
            const auto resolved = resolveOpenEntries(scene.repo.open());
            QVERIFY2(resolved, resolved ? "" : resolved.error().line().c_str());
            QVERIFY(resolved->halfDone.empty());
            const auto* lines = &resolved->lines;
            const State now = stateOf(scene);
            const std::string at = "step " + std::to_string(step);
            QVERIFY2(now == before || now == after, at.c_str());
            QVERIFY2(lockFiles(path / ".git").empty(), at.c_str());
            const auto entries = readLogbook(scene.repo.open()).value();
            for (const LogbookEntry& entry : entries)
                QVERIFY2(entry.state != EntryState::Begun, at.c_str());
            // No old commit may have become unreachable: git's own gc decides.
            scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
            scene.repo.git({"prune", "--expire=now"});
            scene.repo.git({"cat-file", "-e", QString::fromStdString(scene.topic[1])});
            scene.repo.git({"cat-file", "-e", QString::fromStdString(scene.main)});
            scene.checkSound();
            if (ending == Finished) {
                QVERIFY(now == after);
                QVERIFY(lines->empty());
                break;
            }
            if (now == before) {
                ++undone;
                // Nothing stands in the way of doing it now. What was undone is not what "restore" would find first.
                if (name != "restore" || readLogbook(scene.repo.open())->size() == entriesBefore) {
                    QVERIFY2(work(scene.repo.open()), at.c_str());
                    QVERIFY2(stateOf(scene) == after, at.c_str());
                }
            } else {
                ++completed;
            }
        }
        QVERIFY(undone > 2);
        QVERIFY(completed > 0);
    }

    // Two files were changed by others before the next start: ours come whole or not at all, so what is neither side, were it
    // only half of one, is somebody's.
    void filesOfOthersAreLeft()
    {
        ReplayScene scene;
        const Work work = workNamed("replay", scene);
        int step = 0;
        for (;; ++step) {
            // The last step at which files have moved and the index has not: WorktreeMoved.
            ReplayScene probe;
            if (runStopped(probe.repo.fsPath(), workNamed("replay", probe), step) == Stopped &&
                probe.repo.readFile("b.txt") == "b, upstream's\n" && probe.repo.readFile("up/new.txt") == "new\n" &&
                !QFile::exists(probe.repo.path() + "/gone/only.txt"))
                break;
            QVERIFY(step < 40);
        }
        QCOMPARE(runStopped(scene.repo.fsPath(), work, step), int(Stopped));
        scene.repo.writeFile("b.txt", "b, up");
        scene.repo.writeFile("up/new.txt", "edited by hand\n");
        const auto resolved = resolveOpenEntries(scene.repo.open());
        QVERIFY2(resolved, resolved ? "" : resolved.error().line().c_str());
        QVERIFY(resolved->halfDone.empty());
        QCOMPARE(refAt(scene.repo, "HEAD"), scene.topic[1]);
        QCOMPARE(scene.repo.readFile("b.txt"), "b, up");
        QCOMPARE(scene.repo.readFile("gone/only.txt"), "only\n");
        QCOMPARE(scene.repo.readFile("up/new.txt"), "edited by hand\n");
        QCOMPARE(scene.status(), " M b.txt\n?? up/new.txt");
        for (const char* path : {"b.txt", "up/new.txt"})
            QVERIFY2(std::ranges::any_of(resolved->lines, [&](const std::string& line) { return line.contains(path); }),
                     path);
    }

    // Somebody checked out something else with git after the crash: the worktree is not ours to touch any more.
    void someoneWentOn()
    {
        ReplayScene scene;
        int step = 0;
        while (runStopped(scene.repo.fsPath(), workNamed("create", scene), step) == Stopped &&
               !QFile::exists(scene.repo.path() + "/.git/index.lock"))
            ++step;
        // The user does as git says, and removes the locks by hand.
        QVERIFY(QFile::remove(scene.repo.path() + "/.git/index.lock"));
        QFile::remove(scene.repo.path() + "/.git/HEAD.lock");
        QFile::remove(scene.repo.path() + "/.git/refs/heads/topic/z.lock");
        scene.repo.git({"symbolic-ref", "HEAD", "refs/heads/else"});
        scene.repo.git({"update-ref", "refs/heads/else", QString::fromStdString(scene.topic[0])});
        scene.repo.git({"reset", "--hard", "--quiet"});
        scene.repo.writeFile("a.txt", "work\n");
        const auto before = scene.worktree();
        const auto resolved = resolveOpenEntries(scene.repo.open());
        QVERIFY2(resolved, resolved ? "" : resolved.error().line().c_str());
        QVERIFY(resolved->halfDone.empty());
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(scene.repo.git({"rev-parse", "HEAD"}), scene.topic[0]);
        QCOMPARE(scene.status(), " M a.txt");
    }

    // A window that is at work is not "recovered" by the next one that opens.
    void workInProgressIsLeftAlone()
    {
        ReplayScene scene;
        std::optional<std::vector<std::string>> lines;
        std::string tipDuring;
        setApplyStepCallback([&](ApplyStep step) {
            if (step != ApplyStep::WorktreeMoved)
                return;
            lines = resolveOpenEntries(scene.repo.open())->lines;
            tipDuring = refAt(scene.repo, "topic/x");
        });
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        setApplyStepCallback({});
        QVERIFY(applied);
        QVERIFY(lines && lines->empty());
        QCOMPARE(tipDuring, scene.topic[1]);
        QCOMPARE(scene.status(), "");
    }

    // A second program moves the branch after the checks and before the locks: nothing of ours moves.
    void racedByGit()
    {
        ReplayScene scene;
        const auto before = scene.worktree();
        setApplyStepCallback([&](ApplyStep step) {
            if (step == ApplyStep::EntryBegun)
                scene.repo.git({"update-ref", "refs/heads/topic/x", QString::fromStdString(scene.topic[0])});
        });
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        setApplyStepCallback({});
        QVERIFY(!applied);
        QCOMPARE(applied.error().kind, ErrorKind::Refused);
        QCOMPARE(refAt(scene.repo, "topic/x"), scene.topic[0]);
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(readLogbook(scene.repo.open())->size(), std::size_t(0));
        // And while the locks are held, git cannot move the branch, check out or stage.
        GitRun move, stage;
        scene.repo.git({"update-ref", "refs/heads/topic/x", QString::fromStdString(scene.topic[1])});
        setApplyStepCallback([&](ApplyStep step) {
            if (step != ApplyStep::Locked)
                return;
            move = scene.repo.tryGit({"update-ref", "refs/heads/topic/x", QString::fromStdString(scene.topic[0])});
            stage = scene.repo.tryGit({"rm", "--cached", "keep.txt"});
        });
        const auto second = apply(scene.repo.open(), scene.rewrite());
        setApplyStepCallback({});
        QVERIFY2(second, second ? "" : second.error().line().c_str());
        QVERIFY(move.exitCode != 0);
        QVERIFY(stage.exitCode != 0);
        QCOMPARE(refAt(scene.repo, "topic/x"), scene.replayed[1]);
        QCOMPARE(scene.status(), "");
    }

    // git commits, or checks something out, between the look at HEAD and the locks: the change was made for another state.
    void racedByCommitsAndCheckouts_data()
    {
        QTest::addColumn<QString>("name");
        QTest::addColumn<QStringList>("command");
        const QStringList commit{"-c",     "user.name=Mira", "-c", "user.email=m@example.org",
                                 "commit", "--quiet",        "-m", "Meanwhile"};
        QTest::newRow("a commit, then a checkout of ours") << "check-out" << commit;
        QTest::newRow("a commit, then a new branch") << "create" << commit;
        QTest::newRow("a checkout, then a replay") << "replay" << QStringList{"checkout", "--quiet", "main"};
        QTest::newRow("a checkout of what is deleted") << "delete" << QStringList{"checkout", "--quiet", "main"};
        QTest::newRow("detached, then a replay") << "replay" << QStringList{"checkout", "--quiet", "--detach"};
    }
    void racedByCommitsAndCheckouts()
    {
        QFETCH(QString, name);
        QFETCH(QStringList, command);
        ReplayScene scene;
        scene.repo.writeFile("keep.txt", "changed\n");
        if (command.contains("commit"))
            scene.repo.git({"add", "keep.txt"});
        else
            scene.repo.git({"checkout", "--quiet", "keep.txt"});
        const Work work = workNamed(name, scene);
        std::map<std::string, std::string> files;
        std::string refs, head;
        const auto look = [&] {
            files = scene.worktree();
            refs = scene.repo.git({"for-each-ref", "refs/heads"});
            head = scene.repo.readFile(".git/HEAD");
        };
        setApplyStepCallback([&](ApplyStep step) {
            if (step != ApplyStep::EntryBegun)
                return;
            scene.repo.git(command);
            look();
        });
        QVERIFY(!work(scene.repo.open()));
        setApplyStepCallback({});
        QCOMPARE(scene.worktree(), files);
        QCOMPARE(scene.repo.git({"for-each-ref", "refs/heads"}), refs);
        QCOMPARE(scene.repo.readFile(".git/HEAD"), head);
        QCOMPARE(scene.status(), "");
        QVERIFY(readLogbook(scene.repo.open())->empty());
        QVERIFY(lockFiles(scene.repo.fsPath() / ".git").empty());
    }

    // Another worktree checks the branch out after the checks: it would stand on a commit that it never saw.
    void racedByAnotherWorktree()
    {
        ReplayScene scene;
        scene.repo.git({"branch", "side", QString::fromStdString(scene.base)});
        setApplyStepCallback([&](ApplyStep step) {
            if (step == ApplyStep::EntryBegun)
                scene.repo.git({"worktree", "add", "--quiet", scene.repo.outside() + "/second", "side"});
        });
        const auto moved = deleteBranch(scene.repo.open(), "side");
        setApplyStepCallback({});
        QVERIFY(!moved);
        QCOMPARE(moved.error().kind, ErrorKind::Refused);
        QCOMPARE(refAt(scene.repo, "refs/heads/side"), scene.base);
    }

    // What cannot be finished is told with its reason, keeps nothing else from being finished, and is finished later.
    void whatCannotBeFinishedIsTold()
    {
        ReplayScene scene;
        int step = 0;
        while (
            runStopped(scene.repo.fsPath(), workNamed("replay", scene), step) == Stopped &&
            !(refAt(scene.repo, "topic/x") == scene.topic[1] && QFile::exists(scene.repo.path() + "/.git/HEAD.lock")))
            (void)resolveOpenEntries(scene.repo.open()), ++step;
        QVERIFY(!openEntryLines(scene.repo.open()).empty());
        const auto untouched = folderState(scene.repo.fsPath());
        QVERIFY(openEntryLines(scene.repo.open()).front().contains("Half done"));
        QVERIFY(folderState(scene.repo.fsPath()) == untouched);
        // Somebody else's lock on the index, as another git at work has it; another file than the one that was left.
        scene.repo.writeFile(".git/theirs", "");
        fs::rename(scene.repo.fsPath() / ".git/theirs", scene.repo.fsPath() / ".git/index.lock");
        auto resolved = resolveOpenEntries(scene.repo.open());
        QVERIFY2(resolved, resolved ? "" : resolved.error().line().c_str());
        QCOMPARE(resolved->halfDone.size(), std::size_t(1));
        const std::string line = resolved->halfDone.front().line();
        QVERIFY2(line.contains("Replay") && line.contains(resolved->halfDone.front().entry) &&
                     line.contains("index.lock"),
                 line.c_str());
        // Nothing is built on it meanwhile.
        const auto refused = createBranch(scene.repo.open(), "another", oid(scene.base), false);
        QVERIFY(!refused);
        QVERIFY2(refused.error().line().contains("Half done"), refused.error().line().c_str());
        QVERIFY(fs::remove(scene.repo.fsPath() / ".git/index.lock"));
        resolved = resolveOpenEntries(scene.repo.open());
        QVERIFY(resolved && resolved->halfDone.empty() && !resolved->lines.empty());
        QVERIFY(openEntryLines(scene.repo.open()).empty());
        QCOMPARE(scene.status(), "");
    }

    // A file is edited after the checks: it is seen once more before anything is written.
    void racedByAnEditor()
    {
        ReplayScene scene;
        setApplyStepCallback([&](ApplyStep step) {
            if (step == ApplyStep::EntryBegun)
                scene.repo.writeFile("b.txt", "typed just now\n");
        });
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        setApplyStepCallback({});
        QVERIFY(!applied);
        QVERIFY(applied.error().line().contains("b.txt"));
        QCOMPARE(scene.repo.readFile("b.txt"), "typed just now\n");
        QCOMPARE(scene.status(), " M b.txt");
        QCOMPARE(refAt(scene.repo, "topic/x"), scene.topic[1]);
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestRecover test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_recover.moc"

// SPDX-License-Identifier: MIT
//
// What a push must never lose or say wrongly: a foreign tip, an entry whose fate is not known yet, several branches of which some
// arrive; locks in the way; a push while nobody has git. The reference is git itself.
#include "core/git/lock_files.h"
#include "core/git/process_marks.h"
#include "core/keep/open_entries.h"
#include "core/keep/recover.h"
#include "core/remotes/fetch.h"
#include "core/remotes/git_words.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QDir>
#include <QFile>
#include <QProcess>
#include <QtTest/QtTest>

#include <array>
#include <chrono>
#include <thread>

#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return Oid::parse(hex).value(); }
QString text(const std::string& id) { return QString::fromStdString(id); }
// An entry of a push that broke off, `minutes` ago.
LogbookEntry brokenOff(const RemoteScene& scene, const std::string& old, const std::string& now, int minutes)
{
    LogbookEntry entry;
    entry.kind = EntryKind::Push;
    entry.title = "Push topic/x to origin";
    entry.remote = "origin";
    entry.folders = {scene.fork.toStdString()};
    entry.moves = {{"refs/heads/topic/x", oid(old), oid(now)}};
    const Repository clone = scene.repo.open();
    LogbookEntry begun = beginEntry(clone, entry).value();
    const std::filesystem::path file = logbookFolder(clone) / (begun.id + ".json");
    QFile stored(QString::fromStdString(file.string()));
    if (!stored.open(QIODevice::ReadWrite))
        QTest::qFail("the entry is not there", __FILE__, __LINE__);
    QByteArray json = stored.readAll();
    json.replace(QByteArray::number(qlonglong(begun.when)), QByteArray::number(qlonglong(begun.when - minutes * 60)));
    stored.seek(0);
    stored.write(json);
    stored.resize(json.size());
    return begun;
}

} // namespace

class TestPushSafety : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    // The fork has moved and the program that moved it died before it could say so: on disk as on a server.
    void aForeignTipIsKeptUntilTheForkIsKnown()
    {
        RemoteScene scene;
        const std::string foreign = scene.strangerPushes();
        scene.replayTopic();
        scene.writeScript(scene.fork + "/hooks/post-receive", "#!/bin/sh\nkill -KILL $PPID\n");
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", oid(foreign)});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
        QVERIFY(fetchRemote(scene.repo.open(), "origin"));
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"gc", "--quiet", "--prune=now"});
        scene.repo.git({"cat-file", "-e", text(foreign)});
        const auto back = restorePush(scene.repo.open(), pushed->entry.id);
        QVERIFY2(!back || scene.forkAt("topic/x") == foreign, whyNot(back).c_str());
    }

    // What stands on the fork now tells what became of a push that broke off.
    void whatBecameOfIt_data()
    {
        QTest::addColumn<int>(
            "stands"); // 0: as before, 1: what was pushed, 2: a commit on top of that, 3: one on top of the old
        QTest::addColumn<int>("minutes");
        QTest::addColumn<int>("state");
        QTest::newRow("as before, just now") << 0 << 0 << int(EntryState::Undone);
        QTest::newRow("as before, long ago") << 0 << 60 << int(EntryState::Undone);
        QTest::newRow("arrived") << 1 << 0 << int(EntryState::Done);
        QTest::newRow("arrived, and gone on from") << 2 << 0 << int(EntryState::Done);
        QTest::newRow("somebody else was first") << 3 << 0 << int(EntryState::Undone);
    }
    void whatBecameOfIt()
    {
        QFETCH(int, stands);
        QFETCH(int, minutes);
        QFETCH(int, state);
        RemoteScene scene;
        scene.replayTopic();
        const LogbookEntry entry = brokenOff(scene, scene.topic[1], scene.replayed[1], minutes);
        if (stands == 1 || stands == 2)
            scene.repo.git({"push", "--quiet", "--force", scene.fork, "topic/x"});
        if (stands >= 2)
            scene.strangerPushes();
        const auto fetched = fetchRemote(scene.repo.open(), "origin");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QCOMPARE(int(findEntry(scene.repo.open(), entry.id)->state), state);
        scene.repo.git({"rev-parse", text(keptRef(entry.id, 0))});
    }

    // As long as something of it is at work it may still arrive; what arrives when it was taken for lost is found.
    void whatIsStillAtWork()
    {
        RemoteScene scene;
        scene.replayTopic();
        const Repository clone = scene.repo.open();
        const LogbookEntry entry = brokenOff(scene, scene.topic[1], scene.replayed[1], 0);
        const auto state = [&] {
            return fetchRemote(clone, "origin") ? findEntry(clone, entry.id)->state : EntryState::TakenBack;
        };
        QProcess left;
        QProcessEnvironment environment = QProcessEnvironment::systemEnvironment();
        const auto [name, value] = pushMark(clone);
        environment.insert(text(name), text(value));
        left.setProcessEnvironment(environment);
        left.start(QStringLiteral("sleep"), {QStringLiteral("600")});
        QVERIFY(left.waitForStarted());
        QCOMPARE(isPushAtWork(clone), std::optional(true));
        QCOMPARE(state(), EntryState::Begun);
        left.kill();
        QVERIFY(left.waitForFinished());
        QCOMPARE(isPushAtWork(clone), std::optional(false));
        QCOMPARE(state(), EntryState::Undone);
        scene.repo.git({"push", "--quiet", "--force", scene.fork, "topic/x"});
        QCOMPARE(state(), EntryState::Done);
    }

    // The next push asks too; it need not wait for a fetch.
    void anotherPushSettlesIt()
    {
        RemoteScene scene;
        scene.replayTopic();
        const Repository clone = scene.repo.open();
        const LogbookEntry entry = brokenOff(scene, scene.topic[1], scene.replayed[1], 0);
        const auto pushed = push(clone, {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(findEntry(clone, entry.id)->state, EntryState::Undone);
        QVERIFY(fetchRemote(clone, "origin"));
        QCOMPARE(findEntry(clone, entry.id)->state, EntryState::Undone);
        QCOMPARE(findEntry(clone, pushed->entry.id)->state, EntryState::Done);
    }

    // Nothing was sent: then nothing can have arrived, and nothing is said to be perhaps there.
    void whereNothingWasSent()
    {
        RemoteScene scene;
        scene.replayTopic();
        scene.repo.git({"config", "remote.origin.receivepack", "echo 'ERROR: you may only read here' >&2; false"});
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY(!pushed);
        const std::string line = pushed.error().line();
        QVERIFY2(line.contains("you may only read here") && line.contains("Nothing was sent") &&
                     !line.contains(" may have"),
                 line.c_str());
        QVERIFY(readLogbook(scene.repo.open())->empty());
        QVERIFY(scene.repo.git({"for-each-ref", "refs/espalier"}).empty());
    }

    // The git that pushed was killed with the lock on the tracking ref in its hand: the next command takes it away. One that
    // may be somebody's stays.
    void aKilledChildsLock_data()
    {
        QTest::addColumn<QByteArray>("holds");
        QTest::addColumn<int>("age");
        QTest::addColumn<bool>("isHeld");
        QTest::addColumn<bool>("goes");
        QTest::addColumn<QString>("inFork");
        for (const char* name : {"", "refs/heads/topic/x", "HEAD"}) {
            const QByteArray where = *name ? QByteArray(", the fork's ") + name : QByteArray();
            QTest::addRow("empty%s", where.constData()) << QByteArray() << 0 << false << true << name;
            QTest::addRow("what was pushed%s", where.constData()) << QByteArray("new") << 0 << false << true << name;
            QTest::addRow("its line end not yet written%s", where.constData())
                << QByteArray("new, torn") << 0 << false << true << name;
            QTest::addRow("something else%s", where.constData()) << QByteArray("other") << 0 << false << false << name;
            QTest::addRow("older than the push%s", where.constData()) << QByteArray() << 3600 << false << false << name;
            QTest::addRow("somebody has it open%s", where.constData()) << QByteArray() << 0 << true << false << name;
        }
        QTest::newRow("packed refs, no deletion") << QByteArray() << 0 << false << false << "packed-refs";
    }
    void aKilledChildsLock()
    {
        QFETCH(QByteArray, holds);
        QFETCH(int, age);
        QFETCH(bool, isHeld);
        QFETCH(bool, goes);
        QFETCH(QString, inFork);
        RemoteScene scene;
        scene.replayTopic();
        const Repository clone = scene.repo.open();
        (void)brokenOff(scene, scene.topic[1], scene.replayed[1], 0);
        const QString lock = inFork.isEmpty() ? scene.repo.path() + "/.git/refs/remotes/origin/topic/x.lock"
                                              : scene.fork + '/' + inFork + ".lock";
        QVERIFY(QDir().mkpath(QFileInfo(lock).path()));
        QFile file(lock);
        QVERIFY(file.open(QIODevice::WriteOnly));
        if (!holds.isEmpty())
            file.write(QByteArray::fromStdString(holds.startsWith("new") ? scene.replayed[1] : scene.topic[0]) +
                       (holds.endsWith("torn") ? "" : "\n"));
        QVERIFY(file.flush());
        if (age > 0)
            QVERIFY(file.setFileTime(QDateTime::currentDateTime().addSecs(-age), QFileDevice::FileModificationTime));
        if (!isHeld)
            file.close();
        const auto resolved = resolveOpenEntries(clone);
        QVERIFY2(resolved, whyNot(resolved).c_str());
        const std::vector<std::string>& lines = resolved->lines;
        QCOMPARE(QFile::exists(lock), !goes);
        QCOMPARE(std::ranges::any_of(lines, [&](const auto& said) { return said.contains(lock.toStdString()); }), goes);
    }

    // The upkeep that git starts in the fork when it has received something was killed with it.
    void aKilledUpkeepsLock()
    {
        RemoteScene scene;
        scene.replayTopic();
        (void)brokenOff(scene, scene.topic[1], scene.replayed[1], 0);
        const QString lock = scene.fork + "/objects/maintenance.lock";
        QFile file(lock);
        QVERIFY(file.open(QIODevice::WriteOnly));
        file.close();
        QVERIFY(resolveOpenEntries(scene.repo.open()));
        QVERIFY(!QFile::exists(lock));
    }

    // git deletes a branch with packed-refs locked and writes that file anew beside it, in the clone as in the fork. What it was
    // killed with goes, both: where the new one is there already, git says that it cannot be created, for ever.
    void aKilledDeletionsLocks_data()
    {
        QTest::addColumn<bool>("inFork");
        QTest::addColumn<bool>("locked");
        QTest::newRow("clone") << false << true;
        QTest::newRow("fork") << true << true;
        QTest::newRow("clone, no lock: somebody else's") << false << false;
        QTest::newRow("fork, no lock: somebody else's") << true << false;
    }
    void aKilledDeletionsLocks()
    {
        QFETCH(bool, inFork);
        QFETCH(bool, locked);
        RemoteScene scene;
        scene.replayTopic();
        const Repository clone = scene.repo.open();
        (void)brokenOff(scene, scene.topic[1], std::string(40, '0'), 0);
        const QString folder = inFork ? scene.fork : scene.repo.path() + "/.git";
        std::vector<QString> left{folder + "/packed-refs.new"};
        if (locked)
            left.push_back(folder + "/packed-refs.lock");
        for (const QString& path : left) {
            QFile file(path);
            QVERIFY(file.open(QIODevice::WriteOnly) && file.write("# pack-refs with: peeled") > 0);
        }
        // A fetch by itself, as the window does it now and then, does it too.
        if (inFork)
            QVERIFY(fetchRemote(clone, "origin"));
        else
            QVERIFY(resolveOpenEntries(clone));
        for (const QString& path : left)
            QCOMPARE(QFile::exists(path), !locked);
        if (locked)
            scene.repo.git({"-C", folder, "pack-refs", "--all"});
    }

    // Locks of our own do not wait for what becomes of the push.
    void ownLocksGoAtOnce()
    {
        RemoteScene scene;
        scene.replayTopic();
        const Repository clone = scene.repo.open();
        (void)brokenOff(scene, scene.topic[1], scene.replayed[1], 0);
        const std::filesystem::path lock = clone.commonDir() / "refs/heads/topic/x.lock";
        if (const pid_t child = ::fork(); child == 0) {
            auto locks = LockFiles::begin(clone.commonDir());
            const bool taken = locks && locks->announce({{lock, {}}}) && locks->take(0);
            ::_exit(taken ? 0 : 1);
        } else {
            int status = 0;
            QCOMPARE(::waitpid(child, &status, 0), child);
            QCOMPARE(status, 0);
        }
        QVERIFY(std::filesystem::exists(lock));
        QVERIFY(resolveOpenEntries(clone));
        QVERIFY(!std::filesystem::exists(lock));
    }

    // A second program fetches while the push is on its way: the entry is the pusher's to close.
    void anotherFetchLeavesThePushAlone()
    {
        RemoteScene scene;
        scene.replayTopic();
        const QString marker = scene.repo.outside() + "/begun", go = scene.repo.outside() + "/go";
        scene.writeScript(
            scene.fork + "/hooks/pre-receive",
            ("#!/bin/sh\ntouch '" + marker + "'\nwhile [ ! -e '" + go + "' ]; do sleep 0.02; done\n").toUtf8());
        std::atomic<int> state = -1;
        const std::jthread second([&](std::stop_token ended) {
            while (!QFile::exists(marker) && !ended.stop_requested())
                std::this_thread::yield();
            const Repository clone = scene.repo.open();
            if (fetchRemote(clone, "origin"))
                state = int(readLogbook(clone)->front().state);
            QFile file(go);
            (void)file.open(QIODevice::WriteOnly);
        });
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(int(state), int(EntryState::Begun));
        QCOMPARE(findEntry(scene.repo.open(), pushed->entry.id)->state, EntryState::Done);
    }

    void aForkThatSaysNoFailsTheUpdate()
    {
        RemoteScene scene;
        scene.writeScript(scene.fork + "/hooks/pre-receive", "#!/bin/sh\necho 'closed today' >&2\nexit 1\n");
        const GitRun run = runProgram(ESPALIER_PROGRAM, {"update", scene.repo.path()}, scene.repo.path());
        QCOMPARE(run.exitCode, 1);
        QVERIFY2(run.err.contains("closed today"), run.err.constData());
        QCOMPARE(scene.repo.git({"rev-parse", "main"}), scene.main);
        QVERIFY(QFile::remove(scene.fork + "/hooks/pre-receive"));
        QCOMPARE(runProgram(ESPALIER_PROGRAM, {"update", scene.repo.path()}, scene.repo.path()).exitCode, 0);
        QCOMPARE(scene.forkAt("main"), scene.main);
    }

    // A lock that a crash left in the fork: named, with its age and whether anybody holds it.
    void locksAreNamed()
    {
        RemoteScene scene;
        scene.replayTopic();
        const QString lock = scene.fork + "/refs/heads/topic/x.lock";
        QFile stale(lock);
        QVERIFY(QDir().mkpath(scene.fork + "/refs/heads/topic") && stale.open(QIODevice::WriteOnly));
        QVERIFY(stale.setFileTime(QDateTime::currentDateTime().addSecs(-3 * 3600), QFileDevice::FileModificationTime));
        const auto held = push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY(!held);
        QVERIFY2(held.error().line().contains("has it open"), held.error().line().c_str());
        stale.close();
        const auto pushed = push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])});
        QVERIFY(!pushed);
        const std::string line = pushed.error().line();
        QVERIFY2(line.contains(lock.toStdString()) && line.contains("3 hours ago") && line.contains("remove that file"),
                 line.c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QCOMPARE(readLogbook(scene.repo.open())->size(), std::size_t(0));
        QVERIFY(QFile::remove(lock));
        QVERIFY(push(scene.repo.open(), {"topic/x", "origin", oid(scene.topic[1])}));
    }

    // A stale lock on what a fetch would move: the lock is named, how old it is, and what to do; the rest is fetched.
    void locksOfAFetchAreNamed_data()
    {
        QTest::addColumn<QString>("lock");
        QTest::newRow("tracking ref") << QStringLiteral("refs/remotes/upstream/main.lock");
        QTest::newRow("tag") << QStringLiteral("refs/tags/v1.lock");
    }
    void locksOfAFetchAreNamed()
    {
        QFETCH(QString, lock);
        RemoteScene scene;
        scene.repo.git({"update-ref", "-d", "refs/remotes/upstream/main"});
        scene.gitIn(scene.upstream, {"tag", "v1", "main"});
        QFile stale(scene.repo.path() + "/.git/" + lock);
        QVERIFY(QDir().mkpath(QFileInfo(stale).path()) && stale.open(QIODevice::WriteOnly));
        QVERIFY(stale.setFileTime(QDateTime::currentDateTime().addSecs(-3 * 3600), QFileDevice::FileModificationTime));
        stale.close();
        const auto fetched = fetchRemote(scene.repo.open(), "upstream");
        std::string said = fetched ? std::string() : fetched.error().line();
        for (const std::string& notice : fetched ? fetched->notices : std::vector<std::string>())
            said += notice;
        QVERIFY2(said.contains(lock.toStdString()) && said.contains("3 hours ago") &&
                     said.contains("remove that file") && !said.contains("free space") && !said.contains("address"),
                 said.c_str());
        QVERIFY(stale.remove());
        QVERIFY(fetchRemote(scene.repo.open(), "upstream")->notices.empty());
        QCOMPARE(scene.repo.git({"rev-parse", "v1"}), scene.main);
    }

    // git's own words about the lock of a shallow clone's cut.
    void theLockOfTheCutIsNamed()
    {
        RemoteScene scene;
        const QString lock = scene.repo.path() + "/.git/shallow.lock";
        QFile stale(lock);
        QVERIFY(stale.open(QIODevice::WriteOnly));
        stale.close();
        // What git says itself, deepening a clone whose lock was left.
        const GitRun ran = runProgram("git", {"fetch", "--depth=1", "upstream"}, scene.repo.path());
        QVERIFY(ran.exitCode != 0);
        const Progress quiet;
        GitWords words(quiet);
        words.hear(std::string_view(ran.err.constData(), std::size_t(ran.err.size())));
        const std::string line = explain("The fetch failed", "somewhere", words).line();
        QVERIFY2(line.contains(lock.toStdString()) && line.contains("remove that file") && !line.contains("address"),
                 (line + ran.err.toStdString()).c_str());
    }

    // git's check of what comes, where the user wants it: nothing is moved, and the line says what is wrong with what.
    void aBadObjectIsRefused()
    {
        RemoteScene scene;
        const std::string tree = scene.repo.git({"rev-parse", text(scene.main) + "^{tree}"});
        const std::string bad =
            scene.repo.writeRaw("commit", "tree " + tree + "\nparent " + scene.main +
                                              "\nauthor A <a@b> nodate +0000\ncommitter A <a@b> 1 +0000\n\nBad\n");
        scene.repo.git({"push", "--quiet", scene.upstream, text(bad) + ":refs/heads/main"});
        scene.repo.git({"config", "transfer.fsckObjects", "true"});
        QDir(scene.repo.path() + "/.git/objects/" + text(bad.substr(0, 2))).removeRecursively();
        const std::string before = scene.repo.git({"for-each-ref"});
        const auto fetched = fetchRemote(scene.repo.open(), "upstream");
        QVERIFY(!fetched);
        const std::string line = fetched.error().line();
        QVERIFY2(line.contains(bad) && line.contains("badDate") && !line.contains("Check the address"), line.c_str());
        QCOMPARE(scene.repo.git({"for-each-ref"}), before);
    }

    void severalBranchesTogether_data()
    {
        QTest::addColumn<bool>("atomic");
        QTest::addColumn<bool>("refused");
        QTest::newRow("all") << true << false;
        QTest::newRow("none") << true << true;
        QTest::newRow("one by one") << false << false;
        QTest::newRow("one of them") << false << true;
    }
    void severalBranchesTogether()
    {
        QFETCH(bool, atomic);
        QFETCH(bool, refused);
        RemoteScene scene;
        scene.replayTopic();
        scene.repo.git({"branch", "topic/below", text(scene.replayed[0])});
        if (!atomic)
            scene.gitIn(scene.fork, {"config", "receive.advertiseAtomic", "false"});
        if (refused)
            scene.writeScript(scene.fork + "/hooks/update",
                              "#!/bin/sh\n[ \"$1\" != refs/heads/topic/x ] || { echo 'not this one' >&2; exit 1; }\n");
        const std::array requests{PushRequest{"topic/below", "origin", Oid{}},
                                  PushRequest{"topic/x", "origin", oid(scene.topic[1])}};
        const auto pushed = pushAll(scene.repo.open(), requests);
        const auto entries = readLogbook(scene.repo.open());
        if (!refused) {
            QVERIFY2(pushed, whyNot(pushed).c_str());
            QCOMPARE(pushed->size(), std::size_t(2));
            QCOMPARE(scene.forkAt("topic/below"), scene.replayed[0]);
            QCOMPARE(scene.forkAt("topic/x"), scene.replayed[1]);
            QCOMPARE(entries->size(), std::size_t(2));
            const bool said = std::ranges::any_of(
                pushed->front().notices, [](const std::string& notice) { return notice.contains("one by one"); });
            QCOMPARE(said, !atomic);
            for (const Pushed& one : *pushed)
                QVERIFY(restorePush(scene.repo.open(), one.entry.id));
            QCOMPARE(scene.forkAt("topic/below"), std::string());
            QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
            return;
        }
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().line().contains("not this one"), pushed.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QCOMPARE(scene.forkAt("topic/below"), atomic ? std::string() : scene.replayed[0]);
        QCOMPARE(entries->size(), std::size_t(atomic ? 0 : 1));
        if (!atomic)
            QVERIFY2(pushed.error().line().contains("Pushed all the same: topic/below"), pushed.error().line().c_str());
    }

    // One of them moved since it was looked at: none goes.
    void oneLeaseForEach()
    {
        RemoteScene scene;
        scene.replayTopic();
        scene.repo.git({"branch", "topic/below", text(scene.replayed[0])});
        const std::string foreign = scene.strangerPushes();
        const std::array requests{PushRequest{"topic/below", "origin", Oid{}},
                                  PushRequest{"topic/x", "origin", oid(scene.topic[1])}};
        QVERIFY(!pushAll(scene.repo.open(), requests));
        QCOMPARE(scene.forkAt("topic/below"), std::string());
        QCOMPARE(scene.forkAt("topic/x"), foreign);
    }

    // Without git: libgit2's own ways, with a line that says what does not hold; a push into a repository on disk is not dared.
    void withoutGit()
    {
        RemoteScene scene;
        scene.replayTopic();
        const QByteArray path = qgetenv("PATH");
        const Repository clone = scene.repo.open();
        qputenv("PATH", "/nowhere");
        const auto fetched = fetchRemote(clone, "origin");
        const auto pushed = push(clone, {"topic/x", "origin", oid(scene.topic[1])});
        const auto cloned =
            cloneRepository(scene.upstream.toStdString(), (scene.repo.outside() + "/new").toStdString());
        qputenv("PATH", path);
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QVERIFY2(fetched->line().contains("No git"), fetched->line().c_str());
        QCOMPARE(scene.repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), scene.topic[1]);
        QVERIFY(!pushed);
        QVERIFY2(pushed.error().line().contains("Install git"), pushed.error().line().c_str());
        QCOMPARE(scene.forkAt("topic/x"), scene.topic[1]);
        QVERIFY2(cloned, whyNot(cloned).c_str());
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestPushSafety test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_push_safety.moc"

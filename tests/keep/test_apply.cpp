// SPDX-License-Identifier: MIT
//
// apply() and restore(): what moves, what stays, and what is refused before anything moved. The reference for refs,
// status and soundness is git itself (status, fsck --strict, reflog, for-each-ref).
#include "core/keep/apply.h"
#include "core/keep/recover.h"
#include "tests/support/replay_scene.h"
#include "tests/support/why_not.h"

#include <QDir>
#include <QFile>
#include <QtTest/QtTest>

#include <atomic>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <thread>

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace espalier;
using namespace espalier::test;

namespace {

std::string refAt(const TempRepository& repo, const char* name)
{
    const GitRun run = repo.tryGit({"rev-parse", "--verify", "--quiet", name});
    return run.exitCode == 0 ? run.out.trimmed().toStdString() : std::string();
}

} // namespace

class TestApply : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void movesBranchWorktreeAndIndex()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        const auto applied = apply(clone, scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(refAt(scene.repo, "refs/heads/topic/x"), scene.replayed[1]);
        QCOMPARE(refAt(scene.repo, "HEAD"), scene.replayed[1]);
        QCOMPARE(scene.status(), "");
        QCOMPARE(scene.repo.readFile("up/new.txt"), "new\n");
        QVERIFY(!QFile::exists(scene.repo.path() + "/gone"));
        QVERIFY(QFileInfo(scene.repo.path() + "/dir/run.sh").isExecutable());
        const std::string kept = keptRef(applied->entry.id, 0);
        QCOMPARE(refAt(scene.repo, kept.c_str()), scene.topic[1]);
        QCOMPARE(scene.repo.git({"reflog", "-1", "--format=%gs", "topic/x"}), "espalier: Replay topic/x onto main");
        QCOMPARE(scene.repo.git({"reflog", "-1", "--format=%gs", "HEAD"}), "espalier: Replay topic/x onto main");
        const auto entries = readLogbook(clone).value();
        QCOMPARE(entries.size(), std::size_t(1));
        QCOMPARE(entries[0].state, EntryState::Done);
        QCOMPARE(entries[0].pairs, scene.rewrite().pairs);
        // The old commits survive git's own clean-up.
        scene.repo.git({"reflog", "expire", "--expire=now", "--all"});
        scene.repo.git({"gc", "--quiet", "--prune=now"});
        scene.repo.git({"cat-file", "-e", QString::fromStdString(scene.topic[1])});
        scene.checkSound();
    }

    void anotherBranchLeavesTheWorktreeAlone()
    {
        ReplayScene scene;
        scene.repo.git({"checkout", "--quiet", "main"});
        scene.repo.writeFile("a.txt", "changed and not committed\n");
        const auto before = scene.worktree();
        const std::string status = scene.status();
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(refAt(scene.repo, "refs/heads/topic/x"), scene.replayed[1]);
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(scene.status(), status);
        scene.checkSound();
    }

    void changesElsewhereStay()
    {
        ReplayScene scene;
        scene.repo.writeFile("keep.txt", "changed\n");
        scene.repo.writeFile("staged.txt", "staged\n");
        scene.repo.git({"add", "staged.txt"});
        scene.repo.writeFile("staged.txt", "staged, then changed\n");
        scene.repo.writeFile("untracked.txt", "untracked\n");
        const std::string status = scene.status();
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(scene.status(), status);
        QCOMPARE(scene.repo.readFile("keep.txt"), "changed\n");
        QCOMPARE(scene.repo.readFile("staged.txt"), "staged, then changed\n");
        QCOMPARE(scene.repo.git({"show", ":staged.txt"}), "staged");
        QCOMPARE(scene.repo.readFile("untracked.txt"), "untracked\n");
        scene.checkSound();
    }

    void overlapIsRefused_data()
    {
        QTest::addColumn<QString>("what");
        QTest::addColumn<QString>("named");
        QTest::newRow("changed") << "changed" << "b.txt";
        QTest::newRow("changed within the index's second") << "quick" << "b.txt";
        QTest::newRow("staged") << "staged" << "b.txt";
        QTest::newRow("staged, file put back") << "staged-only" << "b.txt";
        QTest::newRow("deleted") << "deleted" << "gone/only.txt";
        QTest::newRow("made executable") << "mode" << "b.txt";
        QTest::newRow("untracked file") << "untracked" << "up/new.txt";
        QTest::newRow("ignored file") << "ignored" << "up/new.txt";
        QTest::newRow("file where a folder goes") << "file-for-folder" << "up";
        QTest::newRow("folder where a file goes") << "folder-for-file" << "up/new.txt/note";
        QTest::newRow("symlink where a folder goes") << "link-for-folder" << "up";
        QTest::newRow("staged new file") << "staged-new" << "up/new.txt";
    }
    void overlapIsRefused()
    {
        QFETCH(QString, what);
        QFETCH(QString, named);
        ReplayScene scene;
        TempRepository& repo = scene.repo;
        if (what == "changed" || what == "staged" || what == "staged-only")
            repo.writeFile("b.txt", "changed\n");
        if (what == "quick")
            repo.writeFile("b.txt", "c\n"); // the same size as before
        if (what.startsWith("staged"))
            repo.git({"add", "b.txt"});
        if (what == "staged-only")
            repo.writeFile("b.txt", "b\n");
        if (what == "deleted")
            QVERIFY(QFile::remove(repo.path() + "/gone/only.txt"));
        if (what == "mode")
            QVERIFY(QFile::setPermissions(repo.path() + "/b.txt",
                                          QFile::permissions(repo.path() + "/b.txt") | QFile::ExeOwner));
        if (what == "untracked" || what == "ignored" || what == "staged-new")
            repo.writeFile("up/new.txt", "mine\n");
        if (what == "staged-new")
            repo.git({"add", "up/new.txt"});
        if (what == "ignored")
            repo.writeFile(".git/info/exclude", "up/\n");
        if (what == "file-for-folder")
            repo.writeFile("up", "mine\n");
        if (what == "folder-for-file")
            repo.writeFile("up/new.txt/note", "mine\n");
        if (what == "link-for-folder")
            QVERIFY(QFile::link("/nowhere", repo.path() + "/up"));
        const Rewrite rewrite = scene.rewrite();
        Repository clone = repo.open();
        const auto before = folderState(repo.fsPath());
        const auto applied = apply(clone, rewrite);
        QVERIFY(!applied);
        QCOMPARE(applied.error().kind, ErrorKind::Refused);
        QVERIFY2(applied.error().line().contains(named.toStdString()), applied.error().line().c_str());
        QCOMPARE(folderState(repo.fsPath()), before);
    }

    // An editor that refreshes the index holds it for a moment only.
    void anIndexThatIsSoonFreeIsWaitedFor()
    {
        ReplayScene scene;
        const TempRepository& repo = scene.repo;
        const Rewrite rewrite = scene.rewrite();
        const std::filesystem::path lock = repo.fsPath() / ".git/index.lock",
                                    ours = repo.fsPath() / ".git/espalier/locks";
        repo.writeFile(".git/index.lock", "");
        // Gone as soon as it is known to be in the way: apply() has announced its own lock then.
        std::atomic<bool> wasAnnounced = false;
        const auto isAnnounced = [&ours] {
            std::error_code error;
            for (std::filesystem::directory_iterator at(ours, error), end; !error && at != end; at.increment(error)) {
                std::ifstream journal(at->path() / "journal");
                if (std::string(std::istreambuf_iterator<char>(journal), {}).contains("index.lock"))
                    return true;
            }
            return false;
        };
        std::jthread editor([&](const std::stop_token& stop) {
            while (!stop.stop_requested() && !(wasAnnounced = isAnnounced()))
                std::this_thread::sleep_for(std::chrono::milliseconds(1));
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
            std::filesystem::remove(lock);
        });
        const auto applied = apply(repo.open(), rewrite);
        QVERIFY2(applied, applied ? "" : applied.error().line().c_str());
        QVERIFY(wasAnnounced);
        QVERIFY(!std::filesystem::exists(lock));
    }

    void whatStandsInTheWayIsRefused_data()
    {
        QTest::addColumn<QString>("what");
        for (const char* what : {"moved", "gone", "merge", "rebase", "worktree", "index-lock", "ref-lock", "sparse"})
            QTest::newRow(what) << what;
    }
    void whatStandsInTheWayIsRefused()
    {
        QFETCH(QString, what);
        ReplayScene scene;
        TempRepository& repo = scene.repo;
        const Rewrite rewrite = scene.rewrite();
        std::string expected = "moved";
        if (what == "moved") {
            repo.git({"commit", "--quiet", "--allow-empty", "-m", "One more"});
        } else if (what == "gone") {
            repo.git({"checkout", "--quiet", "main"});
            repo.git({"branch", "-D", "topic/x"});
            expected = "gone";
        } else if (what == "merge") {
            repo.writeFile(".git/MERGE_HEAD", scene.main + "\n");
            expected = "a merge in progress";
        } else if (what == "rebase") {
            repo.git({"checkout", "--quiet", "--detach"});
            repo.writeFile(".git/rebase-merge/head-name", "refs/heads/topic/x\n");
            repo.writeFile(".git/rebase-merge/interactive", "");
            expected = "a rebase";
        } else if (what == "worktree") {
            repo.git({"checkout", "--quiet", "main"});
            repo.git({"worktree", "add", "--quiet", repo.outside() + "/other", "topic/x"});
            expected = "/other";
        } else if (what == "index-lock") {
            repo.writeFile(".git/index.lock", "");
            expected = "index.lock";
        } else if (what == "ref-lock") {
            repo.writeFile(".git/refs/heads/topic/x.lock", "");
            expected = "topic/x.lock";
        } else {
            repo.git({"config", "core.sparseCheckout", "true"});
            expected = "sparse";
        }
        const std::string tip = refAt(repo, "refs/heads/topic/x");
        const auto before = scene.worktree();
        const auto applied = apply(repo.open(), rewrite);
        QVERIFY(!applied);
        QVERIFY2(applied.error().line().contains(expected), applied.error().line().c_str());
        QVERIFY(!applied.error().remedy.empty());
        QCOMPARE(refAt(repo, "refs/heads/topic/x"), tip);
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(readLogbook(repo.open()).value().size(), std::size_t(0));
        QCOMPARE(repo.git({"for-each-ref", "refs/espalier"}), "");
    }

    void takenBackAndAgain()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        const auto before = scene.worktree();
        const auto applied = apply(clone, scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        const auto after = scene.worktree();
        const auto restored = restore(clone, applied->entry.id);
        QVERIFY2(restored, whyNot(restored).c_str());
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(scene.status(), "");
        QCOMPARE(refAt(scene.repo, "HEAD"), scene.topic[1]);
        QCOMPARE(findEntry(clone, applied->entry.id)->state, EntryState::TakenBack);
        QVERIFY(!restore(clone, applied->entry.id));
        const auto again = restore(clone, restored->entry.id);
        QVERIFY2(again, whyNot(again).c_str());
        QCOMPARE(scene.worktree(), after);
        QCOMPARE(refAt(scene.repo, "HEAD"), scene.replayed[1]);
        scene.checkSound();
    }

    void takingBackWhatMovedOn()
    {
        ReplayScene scene;
        Repository clone = scene.repo.open();
        const auto applied = apply(clone, scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        scene.repo.git({"commit", "--quiet", "--allow-empty", "-m", "Later"});
        const std::string later = refAt(scene.repo, "HEAD");
        const auto refused = restore(clone, applied->entry.id);
        QVERIFY(!refused);
        QCOMPARE(refused.error().kind, ErrorKind::Refused);
        QCOMPARE(refAt(scene.repo, "HEAD"), later);
        const auto forced = restore(clone, applied->entry.id, true);
        QVERIFY2(forced, whyNot(forced).c_str());
        QCOMPARE(refAt(scene.repo, "HEAD"), scene.topic[1]);
        QCOMPARE(refAt(scene.repo, keptRef(forced->entry.id, 0).c_str()), later);
        QCOMPARE(scene.status(), "");
        scene.checkSound();
    }

    // Files become folders and back, modes and kinds change, a submodule comes and goes.
    void kindsOfFiles()
    {
        TempRepository repo;
        const std::string one = repo.commitFiles(
            {{"x", "file\n"}, {"y/inner", "inner\n"}, {"exe:run", "run\n"}, {"link:l", "x"}}, "One", {}, "main");
        const std::string two = repo.commitFiles({{"x", std::nullopt},
                                                  {"x/deep/er", "file\n"},
                                                  {"y/inner", std::nullopt},
                                                  {"y", "file\n"},
                                                  {"run", "run\n"},
                                                  {"l", "x"}},
                                                 "Two", {one}, "other");
        repo.git({"reset", "--hard", "--quiet"});
        repo.git({"update-index", "--add", "--cacheinfo", QString::fromStdString("160000," + one + ",sub")});
        repo.git({"commit", "--quiet", "-m", "With a submodule"});
        const std::string three = refAt(repo, "HEAD");
        repo.git({"reset", "--hard", "--quiet"});
        Repository clone = repo.open();
        const auto there = checkOut(clone, "other");
        QVERIFY2(there, whyNot(there).c_str());
        QCOMPARE(repo.git({"status", "--porcelain", "--ignore-submodules=none"}), "");
        QCOMPARE(refAt(repo, "HEAD"), two);
        const auto back = checkOut(clone, "main");
        QVERIFY2(back, whyNot(back).c_str());
        QCOMPARE(repo.git({"status", "--porcelain", "--ignore-submodules=none"}), "");
        QCOMPARE(refAt(repo, "HEAD"), three);
        QVERIFY(QFileInfo(repo.path() + "/sub").isDir());
        QVERIFY(QFileInfo(repo.path() + "/l").isSymLink());
        // A submodule's folder with something in it stays, and is spoken of.
        repo.writeFile("sub/work", "work\n");
        const auto kept = checkOut(clone, "other");
        QVERIFY2(kept, whyNot(kept).c_str());
        QCOMPARE(repo.readFile("sub/work"), "work\n");
        QCOMPARE(kept->notices.size(), std::size_t(1));
    }

    void linkedWorktree()
    {
        ReplayScene scene;
        scene.repo.git({"checkout", "--quiet", "main"});
        const QString other = scene.repo.outside() + "/other";
        scene.repo.git({"worktree", "add", "--quiet", other, "topic/x"});
        const auto before = scene.worktree();
        auto clone = Repository::open(other.toStdString());
        QVERIFY(clone);
        const auto applied = apply(*clone, scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(QString::fromStdString(scene.repo.git({"-C", other, "status", "--porcelain"})), QString());
        QCOMPARE(scene.repo.git({"-C", other, "rev-parse", "HEAD"}), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"-C", other, "reflog", "-1", "--format=%gs", "HEAD"}),
                 "espalier: Replay topic/x onto main");
        scene.checkSound();
    }

    void bareRepository()
    {
        ReplayScene scene;
        const QString bare = scene.repo.outside() + "/bare.git";
        scene.repo.git({"clone", "--quiet", "--bare", scene.repo.path(), bare});
        auto repository = Repository::open(bare.toStdString());
        QVERIFY(repository);
        const auto applied = apply(*repository, scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(scene.repo.git({"-C", bare, "rev-parse", "topic/x"}), scene.replayed[1]);
        QCOMPARE(scene.repo.git({"-C", bare, "fsck", "--strict", "--no-dangling"}), "");
    }

    void notesFollow()
    {
        ReplayScene scene;
        scene.repo.git({"notes", "add", "-m", "reviewed", QString::fromStdString(scene.topic[0])});
        scene.repo.git({"config", "notes.rewriteRef", "refs/notes/*"});
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(scene.repo.git({"notes", "show", QString::fromStdString(scene.replayed[0])}), "reviewed");
        scene.checkSound();
    }

    void hooksRun()
    {
        ReplayScene scene;
        for (const char* name : {"post-rewrite", "post-checkout"}) {
            const QString path = scene.repo.path() + "/.git/hooks/" + name;
            scene.repo.writeFile(".git/hooks/" + std::string(name),
                                 "#!/bin/sh\necho \"$@\" >\"$0.seen\"\ncat >>\"$0.seen\"\n");
            QVERIFY(QFile::setPermissions(path, QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
        }
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY2(applied, whyNot(applied).c_str());
        QCOMPARE(scene.repo.readFile(".git/hooks/post-rewrite.seen"), "rebase\n" + scene.topic[0] + " " +
                                                                          scene.replayed[0] + "\n" + scene.topic[1] +
                                                                          " " + scene.replayed[1] + "\n");
        QCOMPARE(scene.repo.readFile(".git/hooks/post-checkout.seen"),
                 scene.topic[1] + " " + scene.replayed[1] + " 1\n");
    }

    // A program in the place of the signer: what it prints becomes the header, in every commit of the chain.
    void signedAsConfigured()
    {
        ReplayScene scene;
        const QString program = scene.repo.outside() + "/signer";
        QFile file(program);
        QVERIFY(file.open(QIODevice::WriteOnly));
        file.write("#!/bin/sh\ncat >/dev/null\nprintf '\\n[GNUPG:] SIG_CREATED D\\n' >&2\n"
                   "printf -- '-----BEGIN PGP SIGNATURE-----\\n\\nabc\\n-----END PGP SIGNATURE-----\\n'\n");
        file.close();
        QVERIFY(file.setPermissions(QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner));
        scene.repo.git({"config", "gpg.program", program});
        scene.repo.git({"config", "user.signingKey", "somebody"});
        Rewrite rewrite = scene.rewrite();
        rewrite.sign = true;
        const auto applied = apply(scene.repo.open(), rewrite);
        QVERIFY2(applied, whyNot(applied).c_str());
        const std::string tip = refAt(scene.repo, "topic/x");
        QVERIFY(tip != scene.replayed[1]);
        QCOMPARE(applied->entry.pairs.at(1).second.hex(), tip);
        QCOMPARE(refAt(scene.repo, "topic/x~1"), applied->entry.pairs.at(0).second.hex());
        QCOMPARE(refAt(scene.repo, "topic/x~2"), scene.main);
        QVERIFY(scene.repo.readRaw("commit", tip).contains("\ngpgsig -----BEGIN"));
        QCOMPARE(scene.status(), "");
        QVERIFY(!applied->notices.empty());
        scene.checkSound();
        // A signer that says no: nothing has happened.
        ReplayScene refused;
        refused.repo.git({"config", "gpg.program", "/bin/false"});
        refused.repo.git({"config", "user.signingKey", "somebody"});
        Rewrite again = refused.rewrite();
        again.sign = true;
        const auto failed = apply(refused.repo.open(), again);
        QVERIFY(!failed);
        QCOMPARE(refAt(refused.repo, "topic/x"), refused.topic[1]);
        QCOMPARE(readLogbook(refused.repo.open())->size(), std::size_t(0));
    }

    void filterThatCannotRun()
    {
        ReplayScene scene;
        scene.repo.git({"config", "filter.big.process", "some-program"});
        scene.repo.writeFile(".git/info/attributes", "up/* filter=big\n");
        const auto before = scene.worktree();
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY(!applied);
        QCOMPARE(applied.error().kind, ErrorKind::Refused);
        QVERIFY2(applied.error().line().contains("up/new.txt"), applied.error().line().c_str());
        QCOMPARE(scene.worktree(), before);
    }

    // The limit on file sizes stands for a full disk: every write beyond it fails with an error, as ENOSPC would.
    void fullDisk_data()
    {
        QTest::addColumn<int>("limit");
        for (const int limit : {0, 100, 300, 600, 1000, 1500, 3000, 20000})
            QTest::addRow("%d", limit) << limit;
    }
    void fullDisk()
    {
        QFETCH(int, limit);
        ReplayScene scene;
        // A large file among those to be written, so that there is a limit at which only the worktree fails.
        const std::string big(10000, 'x');
        scene.repo.git({"checkout", "--quiet", "main"});
        scene.repo.writeFile("up/new.txt", big + "\n");
        scene.repo.git({"commit", "--quiet", "-am", "Big"});
        const std::string tip = refAt(scene.repo, "main");
        scene.repo.git({"checkout", "--quiet", "topic/x"});
        const auto before = scene.worktree();
        const std::string old = refAt(scene.repo, "topic/x");
        const pid_t child = ::fork();
        if (child == 0) {
            ::signal(SIGXFSZ, SIG_IGN);
            Repository clone = scene.repo.open();
            const rlimit size{rlim_t(limit), rlim_t(limit)};
            ::setrlimit(RLIMIT_FSIZE, &size);
            Rewrite rewrite;
            rewrite.title = "Put topic/x onto main's tip";
            rewrite.moves = {{"refs/heads/topic/x", oid(old), oid(tip)}};
            const auto applied = apply(clone, rewrite);
            ::_exit(applied ? 0 : applied.error().kind == ErrorKind::Storage ? 3 : 4);
        }
        int status = 0;
        QCOMPARE(::waitpid(child, &status, 0), child);
        QVERIFY(WIFEXITED(status));
        if (WEXITSTATUS(status) == 0) {
            QCOMPARE(limit, 20000);
            QCOMPARE(refAt(scene.repo, "topic/x"), tip);
        } else {
            const auto recovered = resolveOpenEntries(scene.repo.open());
            QVERIFY2(recovered, whyNot(recovered).c_str());
            QCOMPARE(refAt(scene.repo, "topic/x"), old);
            QCOMPARE(scene.worktree(), before);
        }
        QCOMPARE(scene.status(), "");
        scene.checkSound();
    }

    void aFileInPlaceOfTheLogbook()
    {
        ReplayScene scene;
        scene.repo.writeFile(".git/espalier", "in the way\n");
        const auto before = scene.worktree();
        const auto applied = apply(scene.repo.open(), scene.rewrite());
        QVERIFY(!applied);
        QCOMPARE(applied.error().kind, ErrorKind::Storage);
        QVERIFY2(applied.error().line().contains("file stands where a folder"), applied.error().line().c_str());
        QCOMPARE(scene.worktree(), before);
        QCOMPARE(refAt(scene.repo, "topic/x"), scene.topic[1]);
    }
};

int main(int argc, char** argv)
{
    // libgit2 reads the user's own settings from HOME, which no test may depend on.
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    qputenv("GIT_AUTHOR_DATE", "1700009999 +0100");
    QCoreApplication app(argc, argv);
    TestApply test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_apply.moc"

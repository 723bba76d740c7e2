// SPDX-License-Identifier: MIT
//
// Fetches with random configurations, remotes and clones, beside git's own fetch of the same: within refs/remotes/ and
// refs/tags/ the refs are the same afterwards, outside nothing has changed, and FETCH_HEAD is git's.
#include "core/keep/logbook.h"
#include "core/remotes/fetch.h"
#include "tests/support/temp_repository.h"

#include <QDir>
#include <QFile>
#include <QtTest/QtTest>

#include <filesystem>
#include <random>

using namespace espalier;
using namespace espalier::test;

namespace {

const char* const specChoices[] = {"+refs/heads/*:refs/remotes/origin/*",
                                   "refs/heads/*:refs/remotes/origin/*",
                                   "+refs/heads/topic/*:refs/remotes/origin/topics/*",
                                   "^refs/heads/topic/b",
                                   "^refs/heads/t*",
                                   "+refs/heads/main:refs/remotes/origin/first",
                                   "refs/tags/*:refs/tags/*",
                                   "+refs/tags/*:refs/tags/*",
                                   "refs/heads/main",
                                   "+refs/heads/m*n:refs/remotes/other/x*"};

struct Scene {
    TempRepository remote;
    QString git, ours;
    std::mt19937 random;

    explicit Scene(unsigned seed) : git(remote.outside() + "/git"), ours(remote.outside() + "/ours"), random(seed) {}

    int below(int n) { return int(random() % unsigned(n)); }
    void changeRemote()
    {
        const QStringList branches{"main", "topic/a", "topic/b", "topic/b/c", "old", "old/new", "man"};
        for (int i = 0; i < 4; ++i) {
            const QString branch = branches[below(int(branches.size()))];
            const QString ref = "refs/heads/" + branch;
            const bool there = remote.tryGit({"rev-parse", "--verify", "--quiet", ref}).exitCode == 0;
            if (there && branch != "main" && below(4) == 0) {
                remote.git({"update-ref", "-d", ref});
                continue;
            }
            const bool onTop = there && below(3) > 0;
            const std::string parent = remote.git({"rev-parse", onTop ? ref : QString("refs/heads/main")});
            const std::string made = remote.commitFiles({{"f" + std::to_string(below(1000)), "x\n"}},
                                                        "Commit " + std::to_string(below(100000)), {parent});
            remote.tryGit({"update-ref", ref, QString::fromStdString(made)}); // a name in the way: not this time
        }
        const QString tag = QString("v%1").arg(below(4));
        const QString at = below(2) ? "refs/heads/main" : "refs/heads/main^";
        const bool atThere = remote.tryGit({"rev-parse", "--verify", "--quiet", at}).exitCode == 0;
        switch (atThere ? below(4) : 3) {
        case 0:
            remote.git({"tag", "-f", tag, at});
            break;
        case 1:
            remote.git({"tag", "-f", "-a", "-m", "A tag", tag, at});
            break;
        case 2:
            remote.tryGit({"tag", "-d", tag});
            break;
        default:
            break;
        }
    }
    void configure(const QStringList& arguments) const
    {
        for (const QString& folder : {git, ours})
            runProgram("git", QStringList{"-C", folder, "config"} + arguments, remote.outside());
    }
    std::string refs(const QString& folder, const QStringList& patterns) const
    {
        return runProgram("git",
                          QStringList{"-C", folder, "for-each-ref", "--format=%(refname) %(objectname) %(symref)"} +
                              patterns,
                          remote.outside())
            .out.toStdString();
    }
    std::string fetchHead(const QString& folder) const
    {
        QFile file(folder + "/.git/FETCH_HEAD");
        return file.open(QIODevice::ReadOnly) ? file.readAll().toStdString() : std::string();
    }
    QString describe(unsigned seed) const
    {
        return QString("seed %1\n").arg(seed) +
               QString::fromUtf8(runProgram("git", {"-C", ours, "config", "--local", "--list"}, remote.outside()).out);
    }
};

} // namespace

class TestFetchPlan : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void asGit()
    {
        int fatal = 0, pruned = 0;
        for (unsigned seed = 1; seed <= 24; ++seed) {
            Scene scene(seed);
            scene.remote.commitFiles({{"a", "a\n"}}, "Root", {}, "main");
            scene.changeRemote();
            runProgram("git", {"clone", "--quiet", scene.remote.path(), scene.git}, scene.remote.outside());
            std::filesystem::copy(scene.git.toStdString(), scene.ours.toStdString(),
                                  std::filesystem::copy_options::recursive);
            scene.configure({"--unset-all", "remote.origin.fetch"});
            const int specs = 1 + scene.below(3);
            for (int i = 0; i < specs; ++i)
                scene.configure({"--add", "remote.origin.fetch", specChoices[scene.below(std::size(specChoices))]});
            if (scene.below(2))
                scene.configure({"fetch.prune", scene.below(2) ? "true" : "false"});
            if (scene.below(3) == 0)
                scene.configure({"remote.origin.prune", scene.below(2) ? "true" : "false"});
            if (scene.below(4) == 0)
                scene.configure({"remote.origin.pruneTags", "true"});
            if (scene.below(3) == 0)
                scene.configure({"remote.origin.tagOpt", scene.below(2) ? "--tags" : "--no-tags"});
            for (int round = 0; round < 2; ++round) {
                scene.changeRemote();
                const std::string heads = scene.refs(scene.ours, {"refs/heads", "refs/espalier"});
                const GitRun git = runProgram("git", {"-C", scene.git, "fetch", "origin"}, scene.remote.outside());
                const auto own = fetchRemote(Repository::open(scene.ours.toStdString()).value(), "origin");
                const QByteArray at = scene.describe(seed).toUtf8() + git.err + "\n" +
                                      QByteArray::fromStdString(own ? own->line() : own.error().line());
                // git ends with 1 when single refs were not moved, with 128 when nothing could be done.
                QVERIFY2((git.exitCode == 128) == !own, at.constData());
                if (!own) {
                    ++fatal;
                    break;
                }
                const auto entries = readLogbook(Repository::open(scene.ours.toStdString()).value());
                pruned += entries && !entries->empty();
                QCOMPARE(scene.refs(scene.ours, {"refs/heads"}), scene.refs(scene.git, {"refs/heads"}));
                // The remote's HEAD is refreshed here and not by a fetch of this git.
                const auto without = [](std::string text) {
                    QStringList lines = QString::fromStdString(text).split('\n');
                    lines.removeIf([](const QString& line) { return line.startsWith("refs/remotes/origin/HEAD "); });
                    return lines.join('\n');
                };
                const QString mine = without(scene.refs(scene.ours, {"refs/remotes", "refs/tags"}));
                const QString theirs = without(scene.refs(scene.git, {"refs/remotes", "refs/tags"}));
                QVERIFY2(mine == theirs,
                         (at + "\nwritten:\n" + mine.toUtf8() + "\ngit:\n" + theirs.toUtf8()).constData());
                const std::string head = scene.fetchHead(scene.ours), gitHead = scene.fetchHead(scene.git);
                QVERIFY2(head == gitHead, (at.toStdString() + "\n" + head + "\n" + gitHead).c_str());
            }
        }
        QVERIFY(fatal < 16);
        QVERIFY(pruned > 1);
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestFetchPlan test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_fetch_plan.moc"

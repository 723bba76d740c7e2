// SPDX-License-Identifier: MIT
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QFile>

namespace espalier::test {

namespace {

const QStringList replayTopic{"replay", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList drift{"drift", "PATH"};

std::function<void(const Scene&)> index(const std::function<QByteArray(QByteArray)>& change)
{
    return [=](const Scene& scene) {
        const QString file = scene.dotGit() + "/index";
        scene.write(file, change(scene.read(file)));
    };
}

void splitIndex(const Scene& scene)
{
    scene.git({"update-index", "--split-index"});
    // The half that the other names is gone.
    const QDir folder(scene.dotGit());
    for (const QString& file : folder.entryList({"sharedindex.*"}, QDir::Files))
        scene.write(folder.filePath(file), "half");
}

} // namespace

QList<BadInput> badFiles()
{
    const auto damagedIndex = QList<QByteArray>{"index", "git reset"};
    return {
        {"the index is empty", index([](const QByteArray&) { return QByteArray(); }), replayTopic, 2,
         "Move it away; git reset", damagedIndex},
        {"the index is cut off", index([](QByteArray bytes) { return bytes.left(40); }), replayTopic, 2,
         "Move it away; git reset", damagedIndex},
        {"half an index file", index([](QByteArray bytes) { return bytes.left(bytes.size() / 2); }), replayTopic, 2,
         "Move it away; git reset", damagedIndex},
        {"the index is garbage", index([](const QByteArray&) { return QByteArray("no index at all, only text"); }),
         replayTopic, 2, "Move it away; git reset", damagedIndex},
        {"the index is of a future version",
         index([](QByteArray bytes) { return bytes.replace(7, 1, QByteArray(1, '\x09')); }),
         replayTopic,
         2,
         "Move it away; git reset",
         {"index"}},
        {"the index is a folder",
         [](const Scene& scene) {
             QFile::remove(scene.dotGit() + "/index");
             QDir().mkpath(scene.dotGit() + "/index");
         },
         replayTopic,
         2,
         "Check that it is a plain file",
         {"index"}},
        {"a split index whose other half is damaged",
         splitIndex,
         replayTopic,
         2,
         "Turn it off: git config core.splitIndex",
         {"split", "git update-index --no-split-index"}},
        {"another program holds the index",
         [](const Scene& scene) { scene.write(scene.dotGit() + "/index.lock", ""); },
         replayTopic,
         1,
         "remove that file",
         {"index.lock"}},
        {"another program holds the branch",
         [](const Scene& scene) { scene.write(scene.dotGit() + "/refs/heads/topic.lock", ""); },
         replayTopic,
         1,
         "remove that file",
         {"topic.lock"}},
        {"another program holds HEAD",
         [](const Scene& scene) { scene.write(scene.dotGit() + "/HEAD.lock", ""); },
         replayTopic,
         1,
         "remove that file",
         {"HEAD.lock"}},
        {"a local change",
         [](const Scene& scene) {
             scene.commit("main", "tides.txt", "other\n");
             scene.git({"checkout", "--quiet", "topic"});
             scene.write(scene.path + "/tides.txt", "mine\n");
         },
         replayTopic,
         1,
         "Commit them, put them aside or undo them",
         {"Local changes would be overwritten", "tides.txt"}},
        {"a local change, with rebase.autoStash",
         [](const Scene& scene) {
             scene.commit("main", "tides.txt", "other\n");
             scene.git({"checkout", "--quiet", "topic"});
             scene.write(scene.path + "/tides.txt", "mine\n");
             scene.git({"config", "rebase.autoStash", "true"});
         },
         replayTopic,
         1,
         "Commit them, put them aside or undo them",
         {"tides.txt", "rebase.autoStash", "not followed here"}},
        {"an untracked file in the way",
         [](const Scene& scene) { scene.write(scene.path + "/sea.txt", "rough\n"); },
         replayTopic,
         1,
         "Move them out of the way",
         {"sea.txt", "Move them out of the way"}},
        {"a file in the way that git was told not to look at",
         [](const Scene& scene) {
             scene.git({"checkout", "--quiet", "main"});
             scene.write(scene.path + "/tides.txt", "other\n");
             scene.git({"commit", "--quiet", "-am", "Other tides"});
             scene.git({"checkout", "--quiet", "topic"});
             scene.git({"update-index", "--skip-worktree", "tides.txt"});
             scene.write(scene.path + "/tides.txt", "mine\n");
         },
         replayTopic,
         1,
         "Commit them, put them aside or undo them",
         {"tides.txt", "Local changes"}},
        {"a merge in progress",
         [](const Scene& scene) {
             scene.write(scene.dotGit() + "/MERGE_HEAD", scene.git({"rev-parse", "main"}) + '\n');
         },
         replayTopic,
         1,
         "Finish or abort it first",
         {"a merge in progress"}},
        {"a worktree whose folder of git is gone",
         [](const Scene& scene) { QDir(scene.dotGit()).removeRecursively(); },
         drift,
         2,
         "Open a clone, or clone the project first",
         {"not in a git repository"}},
        {"a .git file that leads nowhere",
         [](const Scene& scene) {
             QDir(scene.dotGit()).removeRecursively();
             scene.write(scene.dotGit(), "gitdir: /no/such/folder\n");
         },
         drift,
         2,
         "Bring it back from a copy, or clone again",
         {"git"}},
        {"a .git file of garbage",
         [](const Scene& scene) {
             QDir(scene.dotGit()).removeRecursively();
             scene.write(scene.dotGit(), QByteArray(100, '\xff'));
         },
         drift,
         2,
         "gitdir: FOLDER",
         {"git"}},
        {"no objects folder",
         [](const Scene& scene) { QDir(scene.dotGit() + "/objects").removeRecursively(); },
         drift,
         2,
         "Bring it back from a copy, or clone again",
         {"git"}},
        {"an entry of the logbook leads out",
         {},
         {"restore", "PATH", "../../config"},
         2,
         "The logbook lists the entries there are",
         {"../../config"}},
        {"the own folder is a file",
         [](const Scene& scene) { scene.write(scene.dotGit() + "/espalier", "no folder"); },
         replayTopic,
         2,
         "Move that file out of the way",
         {"espalier"}},
    };
}

} // namespace espalier::test

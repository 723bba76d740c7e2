// SPDX-License-Identifier: MIT
//
// Answers that cannot be written, and signals: what a command has done by then is done, and it says so.
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QFile>

namespace espalier::test {

namespace {

const QStringList replayTopic{"replay", "PATH", "--branch", "topic", "--onto", "main"};
const char* const full = "/dev/full";

void run(const Scene& scene, QStringList command)
{
    command.replaceInStrings("PATH", scene.path);
    runProgram(QStringLiteral(ESPALIER_PROGRAM), command, scene.outside);
}

// A bare copy of `main` as a remote: a fork, or an upstream with a commit more.
void withFork(const Scene& scene)
{
    scene.git({"init", "--quiet", "--bare", scene.outside + "/fork.git"});
    scene.git({"remote", "add", "origin", scene.outside + "/fork.git"});
    scene.git({"push", "--quiet", "origin", "main"});
}

void withUpstream(const Scene& scene)
{
    scene.git({"init", "--quiet", "--bare", "--initial-branch=main", scene.outside + "/upstream.git"});
    scene.git({"remote", "add", "upstream", scene.outside + "/upstream.git"});
    scene.git({"push", "--quiet", "upstream", "main"});
    scene.git({"fetch", "--quiet", "upstream"});
    scene.git({"branch", "--quiet", "ahead", "main"});
    scene.commit("ahead", "news.txt", "news\n");
    scene.git({"push", "--quiet", "upstream", "ahead:main"});
    scene.git({"checkout", "--quiet", "topic"});
    scene.git({"update-ref", "refs/remotes/upstream/main", "main"});
}

QByteArray recorded(const Scene& scene, const char* kind)
{
    const QDir folder(scene.dotGit() + "/espalier/logbook");
    const QStringList entries = folder.entryList({"*.json"}, QDir::Files, QDir::Name);
    if (entries.isEmpty() || !folder.entryList({"*.open"}, QDir::Files).isEmpty())
        return "the logbook has no closed entry";
    const QByteArray text = scene.read(folder.filePath(entries.last()));
    return text.contains(QByteArray("\"kind\": \"") + kind + '"') && text.contains("\"state\": \"done\"")
               ? QByteArray()
               : "the logbook says otherwise: " + text;
}

QByteArray isReplayed(const Scene& scene)
{
    const bool above = scene.git({"merge-base", "main", "topic"}) == scene.git({"rev-parse", "main"});
    const bool clean = scene.git({"status", "--porcelain"}).isEmpty();
    return above && clean ? recorded(scene, "replay") : QByteArray("the replay is not done");
}

QByteArray isPushed(const Scene& scene)
{
    const QByteArray there = scene.git({"--git-dir=" + scene.outside + "/fork.git", "rev-parse", "topic"});
    return there == scene.git({"rev-parse", "topic"}) ? recorded(scene, "push") : QByteArray("the push is not done");
}

QByteArray isUpdated(const Scene& scene)
{
    return scene.git({"rev-parse", "main"}) == scene.git({"rev-parse", "ahead"}) ? recorded(scene, "update")
                                                                                 : QByteArray("main has not moved");
}

QByteArray isRestored(const Scene& scene)
{
    const bool above = scene.git({"merge-base", "main", "topic"}) == scene.git({"rev-parse", "main"});
    return above ? QByteArray("the replay is not taken back") : recorded(scene, "restore");
}

// While the server asks its hook, the program that pushes is told to stop; the hook says yes when that is over.
void slowServer(const Scene& scene)
{
    withFork(scene);
    const QString hook = scene.outside + "/fork.git/hooks/pre-receive";
    QDir().mkpath(QFileInfo(hook).path());
    scene.write(hook, R"--(#!/bin/sh
of=$PPID
while [ "$of" -gt 1 ] && [ "$(cat /proc/$of/comm)" != espalier ]; do of=$(awk '{ print $4 }' /proc/$of/stat); done
echo $of >"$GIT_DIR/asked"
kill -INT $of
tries=0
while [ $tries -lt 300 ] && [ -d "$GIT_DIR" ] && [ ! -e "$GIT_DIR/over" ]; do sleep 0.1; tries=$((tries + 1)); done
)--");
    QFile::setPermissions(hook, QFile::ReadOwner | QFile::WriteOwner | QFile::ExeOwner);
}

// Nothing arrived, or it is open whether it has: never said to be done or undone.
QByteArray isOpenStill(const Scene& scene)
{
    const QString fork = scene.outside + "/fork.git";
    if (!QFile::exists(fork + "/asked"))
        return "the hook did not run";
    const QDir folder(scene.dotGit() + "/espalier/logbook");
    const QStringList entries = folder.entryList({"*.json"}, QDir::Files, QDir::Name);
    QByteArray text = entries.isEmpty() ? QByteArray() : scene.read(folder.filePath(entries.last()));
    scene.write(fork + "/over", "");
    return text.contains("\"begun\"") ? QByteArray() : "the logbook says: " + text;
}

const QByteArray logbookTells = "espalier logbook PATH tells what it changed";
const QByteArray whereThereIsSpace = "Write it to where there is space";

} // namespace

QList<BadInput> badOutputs()
{
    const QStringList dryRun{"dry-run", "PATH", "--branch", "topic", "--onto", "main"};
    const QStringList restore{"restore", "PATH", "ENTRY"}, push{"push", "PATH", "--branch", "topic"};
    const auto replayBefore = [](const Scene& scene) { run(scene, replayTopic); };
    const QList<QByteArray> words{"The answer cannot be written", "standard output"};
    const auto json = [](QStringList command) { return command << "--json"; };
    return {
        {"drift to a full device",
         {},
         {"drift", "PATH"},
         2,
         whereThereIsSpace,
         words + QList<QByteArray>{"No space left"},
         1,
         {},
         full},
        {"drift as JSON to a full device", {}, {"drift", "PATH", "--json"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"a dry run to a full device", {}, dryRun, 2, whereThereIsSpace, words, 1, {}, full},
        {"a dry run as JSON to a full device", {}, json(dryRun), 2, whereThereIsSpace, words, 1, {}, full},
        {"a layout to a full device", {}, {"layout", "PATH"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"a logbook to a full device", {}, {"logbook", "PATH"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"samples to a full device", {}, {"sample", "--list"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"help to a full device", {}, {"--help"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"the version to a full device", {}, {"--version"}, 2, whereThereIsSpace, words, 1, {}, full},
        {"a replay to a full device", {}, replayTopic, 2, logbookTells, words, 1, {}, full, isReplayed},
        {"a replay as JSON to a full device", {}, json(replayTopic), 2, logbookTells, words, 1, {}, full, isReplayed},
        {"a push to a full device", withFork, push, 2, logbookTells, words, 1, {}, full, isPushed},
        {"a push as JSON to a full device", withFork, json(push), 2, logbookTells, words, 1, {}, full, isPushed},
        {"an update to a full device",
         withUpstream,
         {"update", "PATH"},
         2,
         logbookTells,
         words,
         1,
         {},
         full,
         isUpdated},
        {"a restore to a full device", replayBefore, restore, 2, logbookTells, words, 1, {}, full, isRestored},
        {"entries let go to a full device",
         replayBefore,
         {"logbook", "PATH", "--forget", "ENTRY"},
         2,
         logbookTells,
         words,
         1,
         {},
         full,
         [](const Scene& scene) {
             return QDir(scene.dotGit() + "/espalier/logbook").entryList({"*.json"}).isEmpty()
                        ? QByteArray()
                        : QByteArray("it is still there");
         }},
        {"a replay to a pipe that nobody reads",
         {},
         replayTopic,
         2,
         logbookTells,
         words,
         1,
         {},
         brokenPipe,
         isReplayed},
        {"a push to a pipe that nobody reads", withFork, push, 2, logbookTells, words, 1, {}, brokenPipe, isPushed},
        {"an update to a pipe that nobody reads",
         withUpstream,
         {"update", "PATH"},
         2,
         logbookTells,
         words,
         1,
         {},
         brokenPipe,
         isUpdated},
        {"drift without a standard output", {}, {"drift", "PATH"}, 2, whereThereIsSpace, words, 1, {}, closedOutput},
        {"a replay without a standard output",
         {},
         replayTopic,
         2,
         logbookTells,
         words,
         1,
         {},
         closedOutput,
         isReplayed},
        {"a restore without a standard output",
         replayBefore,
         restore,
         2,
         logbookTells,
         words,
         1,
         {},
         closedOutput,
         isRestored},
        {"SIGINT while the server asks its hook", slowServer, push, 2, "fetch", {"may "}, 1, {}, nullptr, isOpenStill},
    };
}

} // namespace espalier::test

// SPDX-License-Identifier: MIT
//
// What the program keeps for itself, cut off, overwritten or put where something else belongs: it may cost time or a decision,
// and never keeps a command from its work.
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QFile>

#include <sys/stat.h>

namespace espalier::test {

namespace {

const QStringList dryRunTopic{"dry-run", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList replayTopic{"replay", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList drift{"drift", "PATH"};
const QStringList logbook{"logbook", "PATH"};
const char* const entry = "20260101-000000-1";
const char* const entryFile = "logbook/20260101-000000-1.json";
const char* const entryMark = "logbook/20260101-000000-1.open";

QString ownPath(const Scene& scene, const char* name)
{
    QString file = scene.dotGit() + "/espalier/" + name;
    QDir().mkpath(QFileInfo(file).path());
    return file;
}

std::function<void(const Scene&)> own(const char* name, const QByteArray& bytes)
{
    return [=](const Scene& scene) { scene.write(ownPath(scene, name), bytes); };
}

std::function<void(const Scene&)> ownPipe(const char* name)
{
    return [=](const Scene& scene) { ::mkfifo(qPrintable(ownPath(scene, name)), 0600); };
}

std::function<void(const Scene&)> ownFolder(const char* name)
{
    return [=](const Scene& scene) { QDir().mkpath(ownPath(scene, name)); };
}

std::function<void(const Scene&)> both(const std::function<void(const Scene&)>& a,
                                       const std::function<void(const Scene&)>& b)
{
    return [=](const Scene& scene) {
        a(scene);
        b(scene);
    };
}

void run(const Scene& scene, QStringList command)
{
    command.replaceInStrings("PATH", scene.path);
    runProgram(QStringLiteral(ESPALIER_PROGRAM), command, scene.outside);
}

QStringList filesOf(const Scene& scene, const char* folder)
{
    const QDir there(QDir::cleanPath(scene.dotGit() + "/espalier/" + folder));
    QStringList files;
    for (const QString& name : there.entryList(QDir::Files, QDir::Name))
        files.push_back(there.filePath(name));
    return files;
}

// After the command, which makes them, the files in that folder keep only so much of their length.
std::function<void(const Scene&)> cutAfter(const QStringList& command, const char* folder, const char* name,
                                           double share)
{
    return [=](const Scene& scene) {
        run(scene, command);
        bool any = false;
        for (const QString& file : filesOf(scene, folder)) {
            if (!QFileInfo(file).fileName().contains(QLatin1String(name)))
                continue;
            const QByteArray bytes = scene.read(file);
            scene.write(file, bytes.left(qsizetype(double(bytes.size()) * share)));
            any = true;
        }
        if (!any)
            scene.read(QStringLiteral("%1/%2, which was to be cut").arg(QLatin1String(folder), QLatin1String(name)));
    };
}

// Two sides of one file, and a memory of how that was settled.
void conflict(const Scene& scene)
{
    scene.commit("main", "tides.txt", "high\nlow, of the main line\n");
    scene.commit("topic", "tides.txt", "high\nlow, of the topic\n");
}

QByteArray replayed(const Scene& scene)
{
    const bool above = scene.git({"merge-base", "main", "topic"}) == scene.git({"rev-parse", "main"});
    return above ? QByteArray() : QByteArray("the replay is not done");
}

// The mark is gone, so that the next command has nothing to say.
QByteArray cleared(const Scene& scene)
{
    QByteArray left = replayed(scene);
    for (const char* folder : {"logbook", "locks"})
        for (const QString& name : QDir(scene.dotGit() + "/espalier/" + folder)
                                       .entryList({"*.open", "4*"}, QDir::AllEntries | QDir::NoDotAndDotDot))
            left += " left: " + name.toUtf8();
    return left;
}

// The whole of the pack's objects listed by an index of many packs, which is then changed.
std::function<void(const Scene&)> manyPacks(const std::function<QByteArray(QByteArray)>& change)
{
    return [=](const Scene& scene) {
        scene.git({"repack", "-dq"});
        scene.commit("topic", "extra.txt", "more\n");
        scene.git({"repack", "-dq"});
        scene.git({"multi-pack-index", "write"});
        const QString file = scene.dotGit() + "/objects/pack/multi-pack-index";
        scene.write(file, change(scene.read(file)));
    };
}

std::function<void(const Scene&)> commitGraph(const std::function<QByteArray(QByteArray)>& change)
{
    return [=](const Scene& scene) {
        scene.git({"commit-graph", "write", "--reachable"});
        const QString file = scene.dotGit() + "/objects/info/commit-graph";
        scene.write(file, change(scene.read(file)));
    };
}

} // namespace

QList<BadInput> badOwnFiles()
{
    const QByteArray garbage = "{ this is no";
    const QByteArray deep(100'000, '[');
    const QByteArray tips = "The tips it kept are under refs/espalier/kept/";
    const auto half = [](QByteArray bytes) { return bytes.left(bytes.size() / 2); };
    const auto tenBytes = [](QByteArray bytes) { return bytes.left(10); };
    const auto zeros = [](QByteArray bytes) { return QByteArray(bytes.size(), '\0'); };
    const auto noise = [](QByteArray bytes) {
        for (qsizetype i = bytes.size() / 2; i < bytes.size(); ++i)
            bytes[i] = char(i * 37);
        return bytes;
    };
    // A journal that speaks of a file of the user's, which is not the link that it would have to be.
    const auto strangeJournal = [](const Scene& scene) {
        scene.write(ownPath(scene, "locks/4194305-1/journal"), (scene.path + "/tides.txt").toUtf8() + '\0');
        scene.write(ownPath(scene, "locks/4194305-1/0"), scene.read(scene.path + "/tides.txt"));
    };
    return {
        {"an entry of the logbook is garbage", own(entryFile, garbage), logbook, 0, tips, {"damaged", entry}},
        {"an entry of the logbook is empty", own(entryFile, ""), logbook, 0, tips, {"damaged", entry}},
        {"an entry of the logbook is a hundred thousand brackets",
         own(entryFile, deep),
         logbook,
         0,
         tips,
         {"damaged", entry}},
        {"an entry of the logbook is a pipe",
         ownPipe(entryFile),
         logbook,
         0,
         "Move it out of the way",
         {entry, "not a plain file"}},
        {"an entry of the logbook is a folder",
         ownFolder(entryFile),
         logbook,
         0,
         "Move it out of the way",
         {entry, "not a plain file"}},
        {"an entry of the logbook is another's",
         own(entryFile, R"({"entry":"20270101-000000-1"})"),
         logbook,
         0,
         tips,
         {"damaged", entry}},
        {"an entry of the logbook is cut off",
         cutAfter(replayTopic, "logbook", ".json", 0.5),
         logbook,
         0,
         tips,
         {"damaged"}},
        {"an entry of the logbook is garbage, restore",
         own(entryFile, garbage),
         {"restore", "PATH", entry},
         2,
         tips,
         {"damaged", entry}},
        {"an entry of the logbook is cut off, restore",
         cutAfter(replayTopic, "logbook", ".json", 0.9),
         {"restore", "PATH", "ENTRY"},
         2,
         tips,
         {"damaged"}},
        {"an entry of the logbook is cut off, forget",
         cutAfter(replayTopic, "logbook", ".json", 0.9),
         {"logbook", "PATH", "--forget", "ENTRY"},
         2,
         tips,
         {"damaged"}},
        {"a mark without its entry, drift",
         own(entryMark, ""),
         drift,
         0,
         "the next command that changes something",
         {"never written", entry}},
        {"a mark without its entry", own(entryMark, "x"), replayTopic, 0, "", {}, 0, {}, nullptr, cleared},
        {"a mark beside a damaged entry",
         both(own(entryMark, ""), own(entryFile, garbage)),
         replayTopic,
         0,
         tips,
         {"Passed over", entry},
         1,
         {},
         nullptr,
         replayed},
        {"a mark that is a folder",
         ownFolder("logbook/20260101-000000-1.open/x"),
         replayTopic,
         2,
         "Move that folder out of the way",
         {"20260101-000000-1.open", "Half done"}},
        {"a mark of no entry's name", own("logbook/what.open", ""), replayTopic, 0, "", {}, 0, {}, nullptr, replayed},
        {"a mark of what is let go, without its entry",
         own("logbook/20260101-000000-1.forget", ""),
         replayTopic,
         0,
         "was let go",
         {"after an interruption"},
         1,
         {},
         nullptr,
         cleared},
        {"a journal of locks is garbage",
         own("locks/4194305-1/journal", QByteArray(1000, '\xff')),
         replayTopic,
         0,
         "",
         {},
         0,
         {},
         nullptr,
         cleared},
        {"a journal of locks is cut off in a name",
         own("locks/4194305-1/journal", "/no/such/folder/x.lock"),
         replayTopic,
         0,
         "",
         {},
         0,
         {},
         nullptr,
         cleared},
        {"a journal of locks that names a file of the user's",
         strangeJournal,
         replayTopic,
         0,
         "",
         {},
         0,
         {},
         nullptr,
         [](const Scene& scene) {
             return QFile::exists(scene.path + "/tides.txt") ? cleared(scene) : QByteArray("tides.txt is gone");
         }},
        {"a journal of locks is a pipe",
         ownPipe("locks/4194305-1/journal"),
         drift,
         0,
         "the next command that changes something",
         {"Locks were left behind"}},
        {"a journal of locks is a pipe, replay",
         ownPipe("locks/4194305-1/journal"),
         replayTopic,
         2,
         "Move it out of the way",
         {"4194305-1/journal", "cannot be cleared away"}},
        {"a journal of locks is a folder",
         ownFolder("locks/4194305-1/journal/x"),
         replayTopic,
         2,
         "Move it out of the way",
         {"4194305-1/journal", "cannot be cleared away"}},
        {"a file in the place of a journal's folder",
         own("locks/4194305-1", "x"),
         replayTopic,
         0,
         "",
         {},
         0,
         {},
         nullptr,
         replayed},
        {"the settlings are a file", own("settling", "x"), replayTopic, 0, "", {}, 0, {}, nullptr, replayed},
        {"what was settled is garbage",
         both(conflict, own("remembered/0123456789012345678901234567890123456789", garbage)),
         replayTopic + QStringList{"--settle", "proposed"},
         1,
         "Settle them in the window",
         {}},
        {"what was settled is a hundred thousand brackets",
         both(conflict, own("remembered/0123456789012345678901234567890123456789", deep)),
         replayTopic + QStringList{"--settle", "proposed"},
         1,
         "Settle them in the window",
         {}},
        {"what was settled is a file in the place of a folder",
         both(conflict, own("remembered", "x")),
         replayTopic + QStringList{"--settle", "proposed"},
         1,
         "Settle them in the window",
         {}},
        {"the lock of changes is a pipe",
         both(own(entryMark, ""), ownPipe("lock")),
         drift,
         0,
         "the next command that changes something",
         {"never written"}},
        {"the lock of changes is a folder",
         ownFolder("lock"),
         replayTopic,
         2,
         "Move that folder out of the way",
         {"espalier/lock"}},
        {"a mark that is a pipe",
         [](const Scene& scene) {
             run(scene, replayTopic);
             for (const QString& file : filesOf(scene, "logbook"))
                 ::mkfifo(qPrintable(file.chopped(5) + ".open"), 0600);
         },
         drift,
         0,
         "the next command that changes something",
         {"not what follows it"}},
        {"what past merges made is garbage",
         both(conflict, own("settled-merges", garbage)),
         replayTopic + QStringList{"--settle", "proposed"},
         1,
         "Settle them in the window",
         {}},
        {"what past merges made is a pipe",
         both(conflict, ownPipe("settled-merges")),
         replayTopic + QStringList{"--settle", "proposed"},
         1,
         "Settle them in the window",
         {}},
        {"half an index of many packs", manyPacks(half), dryRunTopic, 0, "", {}, 0},
        {"an index of many packs of ten bytes", manyPacks(tenBytes), dryRunTopic, 0, "", {}, 0},
        {"an index of many packs of zeros", manyPacks(zeros), dryRunTopic, 0, "", {}, 0},
        {"an index of many packs that lies", manyPacks(noise), dryRunTopic, 0, "", {}, 0},
        {"half a commit-graph", commitGraph(half), drift, 0, "", {}, 0},
        {"a commit-graph of zeros", commitGraph(zeros), drift, 0, "", {}, 0},
        {"a commit-graph that lies", commitGraph(noise), drift, 0, "", {}, 0},
    };
}

} // namespace espalier::test

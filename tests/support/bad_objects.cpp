// SPDX-License-Identifier: MIT
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QFile>

#include <sys/stat.h>

namespace espalier::test {

namespace {

const QStringList dryRunTopic{"dry-run", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList replayTopic{"replay", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList drift{"drift", "PATH"};

std::function<void(const Scene&)> cut(const char* object, qsizetype length)
{
    return [=](const Scene& scene) {
        const QString file = scene.loose(QString::fromLatin1(object));
        scene.write(file, scene.read(file).left(length));
    };
}

std::function<void(const Scene&)> gone(const char* object)
{
    return [=](const Scene& scene) { QFile::remove(scene.loose(QString::fromLatin1(object))); };
}

std::function<void(const Scene&)> garbage(const char* object)
{
    return [=](const Scene& scene) { scene.write(scene.loose(QString::fromLatin1(object)), "this is no object\n"); };
}

// The file of one object with the contents of another.
void swapped(const Scene& scene) { scene.write(scene.loose("topic"), scene.read(scene.loose("main"))); }

// topic's tip is a commit with these bytes instead of what a commit should have.
std::function<void(const Scene&)> commitOf(const QByteArray& bytes)
{
    return [=](const Scene& scene) {
        const QByteArray id = scene.git({"hash-object", "-t", "commit", "-w", "--stdin", "--literally"},
                                        QByteArray(bytes)
                                            .replace("TREE", scene.git({"rev-parse", "topic^{tree}"}))
                                            .replace("PARENT", scene.git({"rev-parse", "topic"})));
        scene.write(scene.dotGit() + "/refs/heads/topic", id + '\n');
    };
}

// A commit above main, the new base, whose tree holds an entry of that mode and name too.
std::function<void(const Scene&)> treeWith(const char* mode, const QByteArray& name)
{
    return [=](const Scene& scene) {
        const bool link = QByteArray(mode) == "160000";
        const QByteArray id = scene.git({"rev-parse", link ? "main" : "main:sea.txt"});
        QByteArray tree = QByteArray(mode) + ' ' + name + '\0' + QByteArray::fromHex(id);
        for (const char* file : {"sea.txt", "tides.txt"})
            tree += QByteArray("100644 ") + file + '\0' +
                    QByteArray::fromHex(scene.git({"rev-parse", QStringLiteral("main:%1").arg(QLatin1String(file))}));
        const QByteArray made = scene.git({"hash-object", "-t", "tree", "-w", "--stdin", "--literally"}, tree);
        const QByteArray commit = scene.git({"commit-tree", "-p", "main", "-m", "Harm", QString::fromLatin1(made)});
        scene.write(scene.dotGit() + "/refs/heads/main", commit + '\n');
    };
}

// All objects in one pack, which is then changed.
std::function<void(const Scene&)> pack(const QString& suffix, const std::function<QByteArray(QByteArray)>& change)
{
    return [=](const Scene& scene) {
        scene.git({"repack", "-adq"});
        scene.git({"prune-packed", "-q"});
        const QDir folder(scene.dotGit() + "/objects/pack");
        for (const QString& file : folder.entryList({"*" + suffix}, QDir::Files))
            scene.write(folder.filePath(file), change(scene.read(folder.filePath(file))));
    };
}

} // namespace

QList<BadInput> badObjects()
{
    const auto tenBytes = [](QByteArray bytes) { return bytes.left(10); };
    const auto half = [](QByteArray bytes) { return bytes.left(bytes.size() / 2); };
    const auto zeros = [](QByteArray bytes) { return QByteArray(bytes.size(), '\0'); };
    const QByteArray person = "Mira Holm <mira@example.org> 1700000000 +0100\n";
    return {
        {"the tip's file is empty",
         cut("topic", 0),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic", "damaged"}},
        {"the tip is cut off after two bytes",
         cut("topic", 2),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic", "damaged"}},
        {"the tip is cut off after forty bytes",
         cut("topic", 40),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic", "damaged"}},
        {"the tip is cut off, drift",
         cut("topic", 20),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic", "missing or damaged", "git fsck"}},
        {"the tip is cut off, replay",
         cut("topic", 20),
         replayTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic", "damaged"}},
        {"the tip is gone", gone("topic"), drift, 2, "git fsck tells more", {"refs/heads/topic", "missing or damaged"}},
        {"the new base is cut off",
         cut("main", 20),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"damaged", "git fsck"},
         2},
        {"the new base is gone",
         gone("main"),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"main"},
         2},
        {"a commit below the tip is cut off",
         cut("topic^", 30),
         dryRunTopic,
         2,
         "Fetch again, or run git fsck",
         {"missing or damaged"}},
        {"a commit below the tip is gone",
         gone("topic^"),
         dryRunTopic,
         2,
         "Fetch again, or run git fsck",
         {"missing or damaged"}},
        {"a tree is cut off",
         cut("topic^{tree}", 12),
         dryRunTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"a tree is gone",
         gone("topic^{tree}"),
         replayTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"the tree of the new base is garbage",
         garbage("main^{tree}"),
         replayTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"a commit is garbage",
         garbage("topic^"),
         dryRunTopic,
         2,
         "Fetch again, or run git fsck",
         {"missing or damaged"}},
        {"a tree is garbage",
         garbage("topic^{tree}"),
         replayTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"an object holds another's contents",
         swapped,
         dryRunTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"a pipe in the place of an object",
         [](const Scene& scene) {
             const QString file = scene.loose("topic^{tree}");
             QFile::remove(file);
             ::mkfifo(qPrintable(file), 0600);
         },
         dryRunTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"a commit without a tree",
         commitOf("parent PARENT\nauthor " + person + "committer " + person + "\nx\n"),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"damaged"},
         2},
        {"a commit of nothing",
         commitOf("\n"),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"damaged"},
         2},
        {"a commit whose tree is a text",
         commitOf("tree " + QByteArray(40, 'a') + "\nparent PARENT\nauthor " + person + "committer " + person +
                  "\nx\n"),
         dryRunTopic,
         2,
         "Fetch it again, or run git fsck",
         {"missing or damaged"}},
        {"a commit whose parent is nothing",
         commitOf("tree TREE\nparent " + QByteArray(40, 'b') + "\nauthor " + person + "committer " + person + "\nx\n"),
         dryRunTopic,
         2,
         "Fetch again, or run git fsck",
         {"missing or damaged"}},
        {"a gitlink with an absolute path",
         treeWith("160000", "/tmp/espalier-harm"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {"/tmp/espalier-harm", "no worktree may have", "git ls-tree"}},
        {"a gitlink that leads out",
         treeWith("160000", ".."),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {"path", "git ls-tree"}},
        {"a file .git",
         treeWith("100644", ".git"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {".git", "git ls-tree"}},
        {"a file .GIT",
         treeWith("100644", ".GIT"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {".GIT", "git ls-tree"}},
        {"a folder git~1",
         treeWith("160000", "git~1"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {"git~1", "git ls-tree"}},
        {"a file .git with a stream",
         treeWith("100644", ".git::$INDEX_ALLOCATION"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {"git ls-tree"}},
        {"a file .git with a sign that does not show",
         treeWith("100644", ".g\u200cit"),
         replayTopic,
         1,
         "git ls-tree -r shows what it holds",
         {"git ls-tree"}},
        {"a pack of ten bytes",
         pack(".pack", tenBytes),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"git fsck"},
         3},
        {"half a pack",
         pack(".pack", half),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"git fsck"},
         3},
        {"a pack of zeros",
         pack(".pack", zeros),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"git fsck"},
         3},
        {"an index of ten bytes",
         pack(".idx", tenBytes),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"git fsck"},
         3},
        {"half an index",
         pack(".idx", half),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"git fsck"},
         3},
        {"an index of zeros", pack(".idx", zeros), drift, 2, "git fsck tells more", {"git fsck"}, 3},
    };
}

} // namespace espalier::test

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

std::function<void(const Scene&)> file(const char* name, const QByteArray& bytes)
{
    return [=](const Scene& scene) { scene.write(scene.dotGit() + '/' + name, bytes); };
}

std::function<void(const Scene&)> pipe(const char* name)
{
    return [=](const Scene& scene) {
        const QString at = scene.dotGit() + '/' + name;
        QFile::remove(at);
        ::mkfifo(qPrintable(at), 0600);
    };
}

std::function<void(const Scene&)> folder(const char* name)
{
    return [=](const Scene& scene) {
        const QString at = scene.dotGit() + '/' + name;
        QFile::remove(at);
        QDir().mkpath(at);
    };
}

} // namespace

QList<BadInput> badRefs()
{
    return {
        {"an empty ref",
         file("refs/heads/topic", ""),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic", "cannot be read"}},
        {"an empty ref, dry run",
         file("refs/heads/topic", ""),
         dryRunTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic"}},
        {"an empty ref, replay",
         file("refs/heads/topic", ""),
         replayTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic"}},
        {"a ref of garbage",
         file("refs/heads/topic", "what is this\n"),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic", "git fsck"}},
        {"a ref of zero bytes",
         file("refs/heads/topic", QByteArray(41, '\0')),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic"}},
        {"a ref of zeros",
         file("refs/heads/topic", QByteArray(40, '0') + '\n'),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic"}},
        {"a ref cut short",
         file("refs/heads/topic", QByteArray(20, 'a')),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic"}},
        {"a ref of a megabyte",
         file("refs/heads/topic", QByteArray(1 << 20, 'a')),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic"}},
        {"a ref to nothing",
         file("refs/heads/topic", QByteArray(40, 'a') + '\n'),
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic", "missing or damaged"}},
        {"a ref to nothing, replay",
         file("refs/heads/topic", QByteArray(40, 'a') + '\n'),
         replayTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"topic"}},
        {"a damaged ref above a packed one",
         [](const Scene& scene) {
             scene.git({"pack-refs", "--all"});
             scene.write(scene.dotGit() + "/refs/heads/topic", "gone\n");
         },
         drift,
         2,
         "git fsck tells more",
         {"refs/heads/topic"}},
        {"a pipe in the place of a ref",
         pipe("refs/heads/topic"),
         drift,
         2,
         "Remove it; git fsck and git reflog tell",
         {"refs/heads/topic", "a pipe"}},
        {"a pipe in the place of a ref, replay",
         pipe("refs/heads/other"),
         replayTopic,
         2,
         "Remove it; git fsck and git reflog tell",
         {"refs/heads/other", "a pipe"}},
        {"a pipe in the place of HEAD", pipe("HEAD"), drift, 2, "Bring it back from a copy, or clone again", {"HEAD"}},
        {"a pipe in the place of packed-refs",
         pipe("packed-refs"),
         drift,
         2,
         "Remove it; git fsck and git reflog tell",
         {"packed-refs", "a pipe"}},
        {"a pipe in the place of the index",
         pipe("index"),
         replayTopic,
         2,
         "Remove it; git fsck and git reflog tell",
         {"index", "a pipe"}},
        {"packed-refs is a folder",
         folder("packed-refs"),
         drift,
         2,
         "Check that it is a plain file",
         {"packed-refs", "cannot be read"}},
        {"packed-refs is garbage",
         file("packed-refs", "this is no list of refs\n"),
         drift,
         2,
         "git fsck tells more",
         {"packed-refs"}},
        {"packed-refs is garbage, replay",
         file("packed-refs", "this is no list of refs\n"),
         replayTopic,
         2,
         "git fsck in the repository tells what is damaged",
         {"packed-refs"},
         2},
        {"packed-refs of zero bytes",
         file("packed-refs", QByteArray(100, '\0')),
         drift,
         2,
         "git fsck tells more",
         {"packed-refs"}},
        {"HEAD is empty", file("HEAD", ""), drift, 2, "Write the name of a branch into it", {"HEAD"}},
        {"HEAD is garbage", file("HEAD", "nowhere\n"), drift, 2, "Write the name of a branch into it", {"HEAD"}},
        {"HEAD leads out",
         file("HEAD", "ref: ../../etc/passwd\n"),
         drift,
         2,
         "Write the name of a branch into it",
         {"HEAD"}},
        {"HEAD is detached at nothing",
         file("HEAD", QByteArray(40, 'a') + '\n'),
         drift,
         2,
         "git fsck tells more",
         {"HEAD"}},
        {"HEAD is a folder", folder("HEAD"), drift, 2, "Bring it back from a copy, or clone again", {"HEAD", "git"}},
    };
}

} // namespace espalier::test

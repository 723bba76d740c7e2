// SPDX-License-Identifier: MIT
#include "tests/support/bad_inputs.h"

#include <QDir>
#include <QFile>

namespace espalier::test {

namespace {

const QStringList dryRunTopic{"dry-run", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList replayTopic{"replay", "PATH", "--branch", "topic", "--onto", "main"};
const QStringList drift{"drift", "PATH"};

std::function<void(const Scene&)> config(const QByteArray& more)
{
    return [=](const Scene& scene) {
        const QString file = scene.dotGit() + "/config";
        scene.write(file, scene.read(file) + more);
    };
}

std::function<void(const Scene&)> hook(const char* name, const QByteArray& script)
{
    return [=](const Scene& scene) { scene.hook(name, script); };
}

// Both sides change notes.json, for which the configuration names a merge driver.
void driven(const Scene& scene, const QByteArray& driver)
{
    scene.git({"config", "merge.ours.driver", QString::fromUtf8(driver)});
    QDir().mkpath(scene.dotGit() + "/info");
    scene.write(scene.dotGit() + "/info/attributes", "*.txt merge=ours\n");
    scene.commit("main", "tides.txt", "high\nlow\nspring\n");
    scene.commit("topic", "tides.txt", "neap\nhigh\nlow\n");
}

} // namespace

QList<BadInput> badSettings()
{
    const QByteArray hashed = "\n[extensions]\n\tobjectFormat = sha256\n";
    return {
        {"config does not parse",
         config("\n[core\nbare = \n"),
         drift,
         2,
         "Correct that setting; git config",
         {"config", "--show-origin"}},
        {"config of zero bytes",
         [](const Scene& scene) { scene.write(scene.dotGit() + "/config", QByteArray(50, '\0')); },
         drift,
         2,
         "Correct the file, or bring it back",
         {"config"}},
        {"config is a folder",
         [](const Scene& scene) {
             QFile::remove(scene.dotGit() + "/config");
             QDir().mkpath(scene.dotGit() + "/config");
         },
         drift,
         2,
         "Correct the file, or bring it back",
         {"config"}},
        {"commit.gpgSign is neither yes nor no",
         config("\n[commit]\n\tgpgSign = maybe\n"),
         replayTopic,
         2,
         "Set it to true or false",
         {"commit.gpgSign = maybe", "true or false", "--show-origin"}},
        {"rebase.updateRefs is neither yes nor no",
         config("\n[rebase]\n\tupdateRefs = some\n"),
         replayTopic,
         2,
         "Set it to true or false",
         {"rebase.updateRefs = some"}},
        {"gpg.format is unknown",
         config("\n[commit]\n\tgpgSign\n[gpg]\n\tformat = wax\n"),
         replayTopic,
         2,
         "Set gpg.format to openpgp",
         {"wax", "openpgp"}},
        {"no signing program",
         config("\n[commit]\n\tgpgSign\n[gpg]\n\tprogram = /no/such/gpg\n"),
         replayTopic,
         2,
         "Install it, or correct the setting",
         {"/no/such/gpg"}},
        {"SHA-256", config(hashed), drift, 2, "use git itself for this one", {"sha256"}},
        {"reftable",
         config("\n[extensions]\n\trefStorage = reftable\n"),
         drift,
         2,
         "git refs migrate --ref-format=files",
         {"reftable", "git refs migrate"}},
        {"an unknown extension",
         [](const Scene& scene) {
             scene.git({"config", "core.repositoryFormatVersion", "1"});
             scene.git({"config", "extensions.tomorrow", "yes"});
         },
         drift,
         2,
         "use git itself for it",
         {"tomorrow"}},
        {"a format of the future",
         [](const Scene& scene) { scene.git({"config", "core.repositoryFormatVersion", "99"}); },
         drift,
         2,
         "use git itself for it",
         {"99"}},
        {"a partial clone",
         config("\n[remote \"origin\"]\n\turl = x\n\tpromisor = true\n"),
         drift,
         2,
         "Make a full clone",
         {"partial clone"}},
        {"GIT_CONFIG_COUNT is no number",
         {},
         drift,
         2,
         "Correct it; git config --list",
         {"GIT_CONFIG_COUNT"},
         1,
         {{"GIT_CONFIG_COUNT", "many"}}},
        {"GIT_CONFIG_PARAMETERS does not parse",
         {},
         drift,
         2,
         "Correct it; git config --list",
         {"GIT_CONFIG_PARAMETERS"},
         1,
         {{"GIT_CONFIG_PARAMETERS", "'half"}}},
        {"gpgSign by the environment",
         {},
         replayTopic,
         2,
         "Set it to true or false",
         {"commit.gpgSign = perhaps"},
         1,
         {{"GIT_CONFIG_COUNT", "1"}, {"GIT_CONFIG_KEY_0", "commit.gpgSign"}, {"GIT_CONFIG_VALUE_0", "perhaps"}}},
        {"GIT_COMMITTER_DATE is no date",
         {},
         replayTopic,
         2,
         "Write it as 2026-01-31",
         {"GIT_COMMITTER_DATE", "when the tide turns"},
         1,
         {{"GIT_COMMITTER_DATE", "when the tide turns"}}},
        {"nobody is configured",
         [](const Scene& scene) {
             scene.git({"config", "--unset", "user.name"});
             scene.git({"config", "--unset", "user.email"});
         },
         replayTopic,
         1,
         "Set both: git config",
         {"user.name", "git config"},
         1,
         {{"GIT_COMMITTER_NAME", ""}, {"GIT_COMMITTER_EMAIL", ""}, {"EMAIL", ""}}},
        {"pre-rebase refuses",
         hook("pre-rebase", "echo \"never $2 onto $1\"\nexit 1\n"),
         replayTopic,
         1,
         "do what the hook asks for",
         {"pre-rebase", "never topic onto main", "Nothing was changed"}},
        {"pre-rebase ends by a signal",
         hook("pre-rebase", "kill -9 $$\n"),
         replayTopic,
         1,
         "do what the hook asks for",
         {"pre-rebase"}},
        {"SIGTERM while a hook runs",
         hook("pre-rebase", "kill -TERM $PPID\nexec sleep 1000\n"),
         replayTopic,
         2,
         "Nothing was changed",
         {"Stopped", "Nothing was changed"}},
        {"SIGINT while a hook runs",
         hook("reference-transaction", "[ $1 = prepared ] || exit 0\nkill -INT $PPID\nexec sleep 1000\n"),
         replayTopic,
         2,
         "Nothing was changed",
         {"Stopped", "Nothing was changed"}},
        {"reference-transaction refuses",
         hook("reference-transaction", "read old new ref\necho \"$1 keeps $ref\"\n[ $1 != prepared ]\n"),
         replayTopic,
         1,
         "do what the hook asks for",
         {"reference-transaction", "prepared keeps refs/heads/topic", "Nothing was changed"}},
        {"a hook that is no program",
         hook("pre-rebase", "#!/no/such/shell\n"),
         replayTopic,
         2,
         "Correct the hook's first line",
         {"pre-rebase"}},
        {"a merge driver that was not run",
         [](const Scene& scene) { driven(scene, "cp %A %A.new"); },
         replayTopic,
         1,
         "Nothing was changed",
         {"tides.txt", "'ours'", "--run-drivers"}},
        {"a merge driver that fails",
         [](const Scene& scene) { driven(scene, "echo cannot >&2; exit 200"); },
         replayTopic + QStringList{"--run-drivers"},
         1,
         "Correct merge.<name>.driver",
         {"tides.txt", "cannot", "merge.<name>.driver"}},
        {"a merge driver that is not there",
         [](const Scene& scene) { driven(scene, "/no/such/driver %A"); },
         dryRunTopic + QStringList{"--run-drivers"},
         1,
         "",
         {},
         0},
    };
}

} // namespace espalier::test

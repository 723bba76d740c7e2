// SPDX-License-Identifier: MIT
//
// Settings, hooks and odd states of a repository: `espalier replay` and `git rebase` in two copies of the same repository, with
// one committer and one moment, come to the same branches, commit for commit, and leave the same index and files.
#include "tests/support/tide_scene.h"

#include <QDir>
#include <QFile>
#include <QTemporaryDir>
#include <QtTest>

#include <functional>

using namespace espalier::test;

namespace {

struct Case {
    const char* name;
    std::function<void(const Scene&)> setUp;
    QStringList more = {};                       // arguments of the replay
    std::map<QString, QString> environment = {}; // of both
};

void attributes(const Scene& scene, const QByteArray& text)
{
    QDir().mkpath(scene.dotGit() + "/info");
    scene.write(scene.dotGit() + "/info/attributes", text);
}

// The first commit gets the others as its parents.
void graft(const Scene& scene, const QStringList& commits)
{
    QDir().mkpath(scene.dotGit() + "/info");
    const QByteArray ids = scene.git(QStringList{"rev-parse"} + commits).replace('\n', ' ');
    scene.write(scene.dotGit() + "/info/grafts", ids + '\n');
}

void bothChangeTides(const Scene& scene)
{
    scene.commit("main", "tides.txt", "high\nlow\nspring\n");
    scene.commit("topic", "tides.txt", "high\nlow\nneap\n");
}

// Puts its own side on top of the other.
constexpr const char* driver = "cat %B >> %A";

QList<Case> cases()
{
    return {
        {"nothing special", [](const Scene&) {}},
        {"a committer's date with a zone",
         [](const Scene&) {},
         {},
         {{"GIT_COMMITTER_DATE", "2021-03-04T05:06:07+0930"}}},
        {"a committer's date as git writes it", [](const Scene&) {}, {}, {{"GIT_COMMITTER_DATE", "@1600000000 -0330"}}},
        {"a committer's date as mails have it",
         [](const Scene&) {},
         {},
         {{"GIT_COMMITTER_DATE", "Thu, 04 Mar 2021 05:06:07 -0800"}}},
        {"a committer in the environment",
         [](const Scene&) {},
         {},
         {{"GIT_COMMITTER_NAME", "Ada Wolf"}, {"GIT_COMMITTER_EMAIL", "ada@example.org"}}},
        {"a committer by GIT_CONFIG_COUNT",
         [](const Scene&) {},
         {},
         {{"NOBODY", "1"},
          {"GIT_CONFIG_COUNT", "1"},
          {"GIT_CONFIG_KEY_0", "user.name"},
          {"GIT_CONFIG_VALUE_0", "Ada \"the\" Wolf \\ x"}}},
        {"a committer by GIT_CONFIG_PARAMETERS",
         [](const Scene&) {},
         {},
         {{"NOBODY", "1"}, {"GIT_CONFIG_PARAMETERS", "'user.name'='Ada = Wolf'"}}},
        {"a committer by an address",
         [](const Scene& scene) {
             scene.write(scene.dotGit() + "/wolf", "[user]\n\tname = Ada Wolf\n");
             scene.git({"config", "remote.away.url", "https://example.org/wolf/tides"});
             scene.git({"config", "includeIf.hasconfig:remote.*.url:https://example.org/**.path", "wolf"});
         },
         {},
         {{"NOBODY", "1"}}},
        {"a committer by an address of somebody else",
         [](const Scene& scene) {
             scene.write(scene.dotGit() + "/wolf", "[user]\n\tname = Ada Wolf\n");
             scene.git({"config", "remote.away.url", "https://example.com/tides"});
             scene.git({"config", "includeIf.hasconfig:remote.*.url:https://example.org/**.path", "wolf"});
         },
         {},
         {{"NOBODY", "1"}}},
        {"a merge driver in info/attributes",
         [](const Scene& scene) {
             attributes(scene, "tides.txt merge=top\n");
             scene.git({"config", "merge.top.driver", driver});
             bothChangeTides(scene);
         },
         {"--run-drivers"}},
        {"a merge driver in the tree",
         [](const Scene& scene) {
             scene.git({"config", "merge.top.driver", driver});
             scene.commit("main", ".gitattributes", "*.txt merge=top\n");
             bothChangeTides(scene);
         },
         {"--run-drivers"}},
        {"a merge driver of core.attributesFile",
         [](const Scene& scene) {
             scene.write(scene.outside + "/attributes", "*.txt merge=top\n");
             scene.git({"config", "core.attributesFile", scene.outside + "/attributes"});
             scene.git({"config", "merge.top.driver", driver});
             bothChangeTides(scene);
         },
         {"--run-drivers"}},
        {"a merge driver that is told everything",
         [](const Scene& scene) {
             attributes(scene, "*.txt merge=told conflict-marker-size=11\n");
             scene.git({"config", "merge.told.driver", "echo %L %P %% >> %A"});
             bothChangeTides(scene);
         },
         {"--run-drivers"}},
        {"merge.default is a driver",
         [](const Scene& scene) {
             scene.git({"config", "merge.default", "top"});
             scene.git({"config", "merge.top.driver", driver});
             bothChangeTides(scene);
         },
         {"--run-drivers"}},
        {"merge.default is union",
         [](const Scene& scene) {
             scene.git({"config", "merge.default", "union"});
             bothChangeTides(scene);
         }},
        {"union in info/attributes",
         [](const Scene& scene) {
             attributes(scene, "tides.txt merge=union\n");
             bothChangeTides(scene);
         }},
        {"info/attributes above the tree's",
         [](const Scene& scene) {
             scene.commit("main", ".gitattributes", "*.txt -merge\n");
             attributes(scene, "tides.txt merge=union\n");
             bothChangeTides(scene);
         }},
        {"merge.renormalize",
         [](const Scene& scene) {
             scene.commit("topic", "tides.txt", "high\r\nlow\r\nneap\r\n");
             scene.commit("main", ".gitattributes", "*.txt text=auto\n");
             scene.commit("main", "tides.txt", "spring\nhigh\nlow\n");
             scene.git({"config", "merge.renormalize", "true"});
             scene.git({"checkout", "--quiet", "-f", "topic"});
         }},
        {"an encoding of the worktree",
         [](const Scene& scene) {
             scene.commit("main", ".gitattributes", "wide.txt working-tree-encoding=UTF-16LE-BOM\n");
             scene.commit("main", "wide.txt", QByteArray("\xff\xfeh\0i\0\n\0", 8));
             scene.git({"checkout", "--quiet", "topic"});
         }},
        {"skip-worktree",
         [](const Scene& scene) {
             scene.commit("main", "tides.txt", "spring\n");
             scene.git({"checkout", "--quiet", "topic"});
             scene.git({"update-index", "--skip-worktree", "tides.txt"});
         }},
        {"assume-unchanged",
         [](const Scene& scene) {
             scene.commit("main", "tides.txt", "spring\n");
             scene.git({"checkout", "--quiet", "topic"});
             scene.git({"update-index", "--assume-unchanged", "tides.txt"});
         }},
        {"a graft by git replace", [](const Scene& scene) { scene.git({"replace", "--graft", "topic", "topic~2"}); }},
        {"a graft in info/grafts", [](const Scene& scene) { graft(scene, {"topic", "topic~2"}); }},
        {"a graft inside the topic", [](const Scene& scene) { graft(scene, {"topic~1", "main~1"}); }},
        {"a graft of the new base", [](const Scene& scene) { graft(scene, {"main", "topic~1"}); }},
        {"a graft that cuts off", [](const Scene& scene) { graft(scene, {"topic~1"}); }},
        {"a shallow clone that ends inside the topic",
         [](const Scene& scene) {
             scene.write(scene.dotGit() + "/shallow", scene.git({"rev-parse", "topic~1"}) + '\n');
         }},
        {"a boundary that a graft would go beyond",
         [](const Scene& scene) {
             graft(scene, {"topic~1", "main~1"});
             scene.write(scene.dotGit() + "/shallow", scene.git({"rev-parse", "topic~1"}) + '\n');
         }},
        {"a commit replaced by another",
         [](const Scene& scene) {
             const QByteArray other =
                 scene.git({"commit-tree", "-p", "topic~2", "-m", "Another moon", "topic~1^{tree}"});
             scene.git({"replace", "topic~1", QString::fromLatin1(other)});
             scene.git({"pack-refs", "--all"});
         }},
        {"a text replaced by another",
         [](const Scene& scene) {
             const QByteArray other = scene.git({"hash-object", "-w", "--stdin"}, "high\nlow\nebb\n");
             scene.commit("main", "tides.txt", "flood\nhigh\nlow\n");
             scene.commit("topic", "tides.txt", "high\nlow\nother\n");
             scene.git({"replace", QString::fromLatin1(scene.git({"rev-parse", "topic:tides.txt"})),
                        QString::fromLatin1(other)});
             scene.git({"checkout", "--quiet", "-f", "topic"});
         }},
        {"a split index", [](const Scene& scene) { scene.git({"update-index", "--split-index"}); }},
        {"branches inside stay",
         [](const Scene& scene) {
             scene.git({"branch", "inside", "topic~1"});
             scene.git({"config", "rebase.updateRefs", "false"});
         }},
        {"branches inside go along",
         [](const Scene& scene) {
             scene.git({"branch", "inside", "topic~1"});
             scene.git({"config", "rebase.updateRefs", "true"});
         }},
        {"hooks that agree",
         [](const Scene& scene) {
             scene.hook("pre-rebase", "echo \"$@\" >> .git/rebased\n");
             scene.hook("reference-transaction", "grep ' refs/heads/' | sed \"s/^/$1 /\" >> .git/moved\n");
         }},
    };
}

} // namespace

class TestAsGit : public QObject {
    Q_OBJECT

    TideTemplate m_template;
    QList<Case> m_cases = cases();

    static QByteArray contents(const QString& file)
    {
        QFile in(file);
        return in.open(QIODevice::ReadOnly) ? in.readAll() : QByteArray("none");
    }

    static QByteArray stateOf(const Scene& scene)
    {
        QByteArray state = scene.git({"for-each-ref", "--format=%(objectname) %(refname)", "refs/heads"}) + '\n' +
                           scene.git({"ls-files", "-s"}) + '\n' + scene.git({"ls-files", "-v"}) + '\n' +
                           scene.git({"status", "--porcelain"}) + '\n';
        for (const char* file : {"/tides.txt", "/moon.txt", "/sea.txt", "/wide.txt", "/.git/rebased", "/.git/moved"})
            state += QByteArray(file) + ": " + contents(scene.path + file).toPercentEncoding("\n ") + '\n';
        return state;
    }

    static GitRun espalier(const Scene& scene, const QStringList& arguments)
    {
        return runProgram(QStringLiteral(ESPALIER_PROGRAM), arguments, scene.path);
    }

  private Q_SLOTS:
    // A driver is a program: a forecast starts none, and says of which paths it does not speak for git.
    void driversAreNotRunUnasked()
    {
        QTemporaryDir folder;
        const Scene scene = m_template.copyTo(folder.path());
        attributes(scene, "tides.txt merge=mark\n");
        scene.git({"config", "merge.mark.driver", "touch " + scene.outside + "/ran"});
        scene.commit("main", "tides.txt", "spring\nhigh\nlow\n");
        scene.commit("topic", "tides.txt", "high\nlow\nneap\n");
        const QStringList what{"--branch", "topic", "--onto", "main"};
        const GitRun told = espalier(scene, QStringList{"dry-run", scene.path} + what);
        QVERIFY2(told.out.contains("Not as git: tides.txt: git would run your merge driver 'mark'"),
                 told.out.constData());
        const GitRun json = espalier(scene, QStringList{"dry-run", scene.path, "--json"} + what);
        QVERIFY2(json.out.contains(R"("notAsGit":[{"path":"tides.txt","driver":"mark"}])"), json.out.constData());
        QCOMPARE(espalier(scene, {"drift", scene.path}).exitCode, 0);
        QCOMPARE(espalier(scene, QStringList{"replay", scene.path} + what).exitCode, 1);
        QVERIFY(!QFile::exists(scene.outside + "/ran"));
        const GitRun run = espalier(scene, QStringList{"dry-run", scene.path, "--run-drivers"} + what);
        QVERIFY2(run.exitCode == 0 && !run.out.contains("Not as git"), run.out.constData());
        QVERIFY(QFile::exists(scene.outside + "/ran"));
        QCOMPARE(espalier(scene, QStringList{"replay", scene.path, "--by-lines"} + what).exitCode, 0);
        QCOMPARE(scene.git({"cat-file", "blob", "topic:tides.txt"}), QByteArray("spring\nhigh\nlow\nneap"));
    }

    // What git was told not to look at was changed, and the replay would overwrite it: refused, and git is still told not to look.
    void aRefusalKeepsTheMarks_data()
    {
        QTest::addColumn<QString>("mark");
        QTest::newRow("assume-unchanged") << "--assume-unchanged";
        QTest::newRow("skip-worktree") << "--skip-worktree";
    }
    void aRefusalKeepsTheMarks()
    {
        QFETCH(QString, mark);
        QTemporaryDir folder;
        const Scene scene = m_template.copyTo(folder.path());
        scene.commit("main", "tides.txt", "spring\n");
        scene.git({"checkout", "--quiet", "topic"});
        scene.git({"update-index", mark, "tides.txt"});
        scene.write(scene.path + "/tides.txt", "my own, and nobody else's\n");
        const QByteArray before = stateOf(scene), tip = scene.git({"rev-parse", "topic"});
        QVERIFY2(before.contains("h tides.txt") || before.contains("S tides.txt"), before.constData());
        const GitRun run = espalier(scene, {"replay", scene.path, "--branch", "topic", "--onto", "main"});
        QCOMPARE(run.exitCode, 1);
        QVERIFY2(run.err.contains("tides.txt"), run.err.constData());
        QCOMPARE(stateOf(scene), before);
        QCOMPARE(scene.git({"rev-parse", "topic"}), tip);
    }

    void whatGoesAlongIsSaid()
    {
        QTemporaryDir folder;
        const Scene scene = m_template.copyTo(folder.path());
        scene.git({"branch", "inside", "topic~1"});
        scene.git({"branch", "beside", "topic~1"});
        const GitRun told = espalier(scene, {"replay", scene.path, "--branch", "topic", "--onto", "main"});
        QVERIFY2(told.out.contains("Its branch inside moves along"), told.out.constData());
        QVERIFY2(told.out.contains("Its branch beside moves along"), told.out.constData());
        // One ref keeps what two branches stood at.
        QCOMPARE(scene.git({"for-each-ref", "refs/espalier/kept"}).count('\n'), 1);
        const QByteArray entry = told.out.trimmed().split(' ').last();
        QCOMPARE(espalier(scene, {"restore", scene.path, QString::fromLatin1(entry)}).exitCode, 0);
        QCOMPARE(scene.git({"rev-parse", "inside"}), scene.git({"rev-parse", "topic~1"}));
        QCOMPARE(scene.git({"rev-parse", "beside"}), scene.git({"rev-parse", "topic~1"}));
    }

    void each_data()
    {
        QTest::addColumn<int>("index");
        for (qsizetype i = 0; i < m_cases.size(); ++i)
            QTest::newRow(m_cases[i].name) << int(i);
    }
    void each()
    {
        QFETCH(int, index);
        const Case& one = m_cases[index];
        QTemporaryDir folder;
        // Of one name, so that both have the same bytes.
        QDir(folder.path()).mkpath("a");
        const Scene ours = m_template.copyTo(folder.path() + "/a");
        QDir(folder.path()).mkpath("b");
        const Scene gits = m_template.copyTo(folder.path() + "/b");
        for (const Scene* scene : {&ours, &gits}) {
            // Copied files have other time stamps than the index says.
            scene->git({"update-index", "--refresh"});
            one.setUp(*scene);
        }
        const auto environmentOf = [&](const Scene& scene) {
            auto environment = one.environment;
            environment.try_emplace("GIT_COMMITTER_DATE", "1700001000 +0100");
            environment["HOME"] = scene.outside;
            return environment;
        };
        // An empty name in the environment is one; it has to be gone for the configuration's to count.
        const QStringList unset =
            one.environment.contains("NOBODY") ? QStringList{"-u", "GIT_COMMITTER_NAME"} : QStringList();
        const GitRun expected = runProgram("env", unset + QStringList{"git", "rebase", "main", "topic"}, gits.path, {},
                                           environmentOf(gits));
        QVERIFY2(expected.exitCode == 0, (expected.out + expected.err).constData());
        const GitRun replayed = runProgram("env",
                                           unset +
                                               QStringList{QStringLiteral(ESPALIER_PROGRAM), "replay", ours.path,
                                                           "--branch", "topic", "--onto", "main"} +
                                               one.more,
                                           ours.path, {}, environmentOf(ours));
        QVERIFY2(replayed.exitCode == 0, (replayed.out + replayed.err).constData());
        // Source: git itself, in the same place.
        const QByteArray now = stateOf(ours), reference = stateOf(gits);
        QVERIFY2(now == reference, (now + "\nand git:\n" + reference).constData());
    }
};

QTEST_GUILESS_MAIN(TestAsGit)
#include "test_as_git.moc"

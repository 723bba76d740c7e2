// SPDX-License-Identifier: MIT
//
// The user's hook reference-transaction where refs move with a fetch, with a push and in the logbook: it hears of what git would
// tell it (githooks(5)), and its no holds. The reference is git itself, doing the same in a second copy of the clone.
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"
#include "tests/support/remote_scene.h"
#include "tests/support/why_not.h"

#include <QFile>
#include <QtTest/QtTest>

#include <filesystem>

using namespace espalier;
using namespace espalier::test;

namespace {

Oid oid(const std::string& hex) { return Oid::parse(hex).value(); }
QString text(const std::string& id) { return QString::fromStdString(id); }

} // namespace

class TestRemoteHooks : public QObject {
    Q_OBJECT

    std::unique_ptr<RemoteScene> m_scene;

    QString clone() const { return m_scene->repo.path(); }
    QString second() const { return m_scene->repo.outside() + "/second"; }
    static void copy(const QString& from, const QString& to)
    {
        std::filesystem::copy(from.toStdString(), to.toStdString(), std::filesystem::copy_options::recursive);
    }
    // Writes down all that it is told, and says no to what has the words in it.
    void hook(const QString& folder, const QByteArray& refuses = {}) const
    {
        QByteArray script = "#!/bin/sh\nlines=$(cat)\nprintf '%s\\n' \"$lines\" | sed \"s/^/$1 /\" >>\"" +
                            folder.toUtf8() + "/.git/told\"\n";
        if (!refuses.isEmpty())
            script +=
                "case \"$1 $lines\" in prepared*'" + refuses + "'*) echo 'the tide decides' >&2; exit 1 ;; esac\n";
        m_scene->writeScript(folder + "/.git/hooks/reference-transaction", script);
    }
    // What it was told since the last time, without what is the program's own.
    static QStringList told(const QString& folder, const QString& about = "refs/(heads|tags|remotes)/")
    {
        QFile log(folder + "/.git/told");
        QStringList lines;
        if (log.open(QIODevice::ReadOnly))
            lines = QString::fromUtf8(log.readAll()).split('\n').filter(QRegularExpression(about));
        log.remove();
        return lines;
    }
    static QStringList sorted(QStringList lines)
    {
        lines.sort();
        lines.removeDuplicates();
        return lines;
    }
    // Nothing is committed that was not prepared before.
    static bool areInOrder(const QStringList& lines)
    {
        for (qsizetype i = 0; i < lines.size(); ++i)
            if (lines[i].startsWith("committed ") &&
                lines.lastIndexOf("prepared " + lines[i].mid(sizeof "committed"), i) < 0)
                return false;
        return !lines.isEmpty();
    }
    QString refsOf(const QString& folder) const
    {
        // Newer gits, as we, let the remote's HEAD follow; older ones leave it.
        return text(m_scene->gitIn(
            folder, {"for-each-ref", "--exclude=refs/remotes/*/HEAD", "refs/heads", "refs/tags", "refs/remotes"}));
    }

  private Q_SLOTS:
    void init() { m_scene = std::make_unique<RemoteScene>(); }

    void aFetch()
    {
        copy(clone(), second());
        const Repository opened = m_scene->repo.open();
        hook(clone());
        hook(second());
        const auto both = [&] {
            const auto fetched = fetchRemote(opened, "upstream");
            m_scene->gitIn(second(), {"fetch", "--quiet", "upstream"});
            return fetched ? std::string() : fetched.error().line();
        };
        m_scene->gitIn(m_scene->upstream, {"tag", "v1", "main"});
        m_scene->gitIn(m_scene->upstream, {"branch", "release", "main~1"});
        // New ones; one that goes on and one that is rewritten; nothing new.
        for (const char* step : {"new", "moved", "same"}) {
            if (step == std::string_view("moved")) {
                m_scene->gitIn(m_scene->upstream, {"branch", "--force", "release", "main"});
                m_scene->gitIn(m_scene->upstream, {"update-ref", "refs/heads/main", text(m_scene->base)});
                m_scene->gitIn(m_scene->upstream, {"tag", "v2", "main"});
            }
            QCOMPARE(both(), std::string());
            const QStringList here = told(clone()), there = told(second());
            QCOMPARE(sorted(here), sorted(there));
            QCOMPARE(here.isEmpty(), step == std::string_view("same"));
            QVERIFY2(here.isEmpty() || areInOrder(here), qPrintable(here.join('\n')));
            QCOMPARE(refsOf(clone()), refsOf(second()));
        }
    }

    // What it refuses stays where it was, with its words; the rest moves.
    void aFetchThatItRefuses_data()
    {
        QTest::addColumn<QByteArray>("ref");
        QTest::newRow("tracking ref") << QByteArray("refs/remotes/upstream/main");
        QTest::newRow("tag") << QByteArray("refs/tags/v1");
    }
    void aFetchThatItRefuses()
    {
        QFETCH(QByteArray, ref);
        copy(clone(), second());
        m_scene->gitIn(m_scene->upstream, {"tag", "v1", "main"});
        hook(clone(), ref);
        hook(second(), ref);
        const auto fetched = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(fetched, whyNot(fetched).c_str());
        QVERIFY(runProgram("git", {"fetch", "--quiet", "upstream"}, second()).exitCode != 0);
        QVERIFY2(fetched->line().contains("the tide decides") && fetched->line().contains("reference-transaction") &&
                     fetched->line().contains(ref.mid(ref.lastIndexOf('/') + 1).toStdString()),
                 fetched->line().c_str());
        // git stops at the first no; here what was not refused is fetched all the same.
        const QString about = QString::fromUtf8(ref);
        for (const QString& folder : {clone(), second()})
            QVERIFY(runProgram("git", {"rev-parse", "--verify", "--quiet", about}, folder).exitCode != 0);
        const QString other = about.startsWith("refs/tags") ? "refs/remotes/upstream/main" : "refs/tags/v1";
        QCOMPARE(m_scene->repo.git({"rev-parse", other}), m_scene->main);
        const QStringList lines = told(clone());
        QVERIFY(!lines.filter("prepared").filter(about).isEmpty() && !lines.filter("aborted").filter(about).isEmpty());
        QVERIFY(lines.filter("committed").filter(about).isEmpty() && !lines.filter("committed").isEmpty());
        // And nothing is locked or left.
        QVERIFY(QFile::remove(clone() + "/.git/hooks/reference-transaction"));
        const auto again = fetchRemote(m_scene->repo.open(), "upstream");
        QVERIFY2(again && again->notices.empty(), whyNot(again).c_str());
        QCOMPARE(m_scene->repo.git({"rev-parse", about}), m_scene->main);
    }

    void aPush_data()
    {
        QTest::addColumn<bool>("twoAddresses"); // where git does not move the tracking ref by itself
        QTest::newRow("one address") << false;
        QTest::newRow("two addresses") << true;
    }
    void aPush()
    {
        QFETCH(bool, twoAddresses);
        const QString otherFork = m_scene->repo.outside() + "/fork2.git";
        m_scene->repo.git({"fetch", "--quiet", "origin"});
        m_scene->replayTopic();
        copy(clone(), second());
        copy(m_scene->fork, otherFork);
        m_scene->gitIn(second(), {"config", "remote.origin.url", otherFork});
        if (twoAddresses)
            for (const auto& [folder, fork] : {std::pair(clone(), m_scene->fork), {second(), otherFork}}) {
                const QString third = fork + ".third";
                copy(fork, third);
                for (const QString& url : {fork, third})
                    m_scene->gitIn(folder, {"config", "--add", "remote.origin.pushurl", url});
            }
        hook(clone());
        hook(second());
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", oid(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        m_scene->gitIn(second(), {"push", "--quiet", "--force", "origin", "topic/x"});
        const QStringList here = told(clone()), there = told(second());
        // git does not look where the ref stood, and tells zeros.
        const QRegularExpression old("(?<= )[0-9a-f]{40}(?= [0-9a-f]{40} )");
        QCOMPARE(sorted(QStringList(here).replaceInStrings(old, "")),
                 sorted(QStringList(there).replaceInStrings(old, "")));
        QVERIFY2(areInOrder(here), qPrintable(here.join('\n')));
        const auto gone = deleteRemoteBranch(m_scene->repo.open(), "origin", "topic/x", oid(m_scene->replayed[1]));
        QVERIFY2(gone, whyNot(gone).c_str());
        const QStringList after = told(clone());
        QVERIFY2(areInOrder(after) && !after.filter("refs/remotes/origin/topic/x").isEmpty(),
                 qPrintable(after.join('\n')));
        QVERIFY(m_scene->repo.tryGit({"rev-parse", "--verify", "--quiet", "refs/remotes/origin/topic/x"}).exitCode !=
                0);
    }

    // The push has arrived when it comes to the tracking ref: that stays, and it is said.
    void aPushWhoseTrackingRefItRefuses()
    {
        m_scene->repo.git({"fetch", "--quiet", "origin"});
        m_scene->replayTopic();
        for (const QString& url : {m_scene->fork, m_scene->fork + ".third"}) {
            if (url != m_scene->fork)
                copy(m_scene->fork, url);
            m_scene->repo.git({"config", "--add", "remote.origin.pushurl", url});
        }
        hook(clone(), "refs/remotes/origin/topic/x");
        const auto pushed = push(m_scene->repo.open(), {"topic/x", "origin", oid(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->replayed[1]);
        QCOMPARE(m_scene->repo.git({"rev-parse", "refs/remotes/origin/topic/x"}), m_scene->topic[1]);
        QVERIFY(std::ranges::any_of(pushed->notices, [](const std::string& notice) {
            return notice.contains("the tide decides") && notice.contains("tracking");
        }));
        QCOMPARE(findEntry(m_scene->repo.open(), pushed->entry.id)->state, EntryState::Done);
    }

    // The refs of the logbook are refs: made and let go as git's own update-ref would tell it.
    void keptTips()
    {
        const Repository opened = m_scene->repo.open();
        m_scene->replayTopic();
        hook(clone());
        const auto pushed = push(opened, {"topic/x", "origin", oid(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        const QString kept = text(keptRef(pushed->entry.id, 0));
        const QStringList made = told(clone(), "refs/espalier/");
        m_scene->repo.git({"update-ref", "refs/espalier/git", text(m_scene->topic[1]), QString(40, '0')});
        QCOMPARE(made, told(clone(), "refs/espalier/").replaceInStrings("refs/espalier/git", kept));
        QVERIFY(areInOrder(made));
        QVERIFY(forgetEntry(opened, pushed->entry.id));
        const QStringList gone = told(clone(), "refs/espalier/");
        m_scene->repo.git({"update-ref", "-d", "refs/espalier/git", text(m_scene->topic[1])});
        // git also tells of its own look into packed-refs, as of something that came to nothing.
        QStringList gits = told(clone(), "refs/espalier/").replaceInStrings("refs/espalier/git", kept);
        gits.removeIf([](const QString& line) { return line.startsWith("aborted"); });
        QCOMPARE(gone, gits);
        // With what else moves: a tracking ref that is rewritten is kept first.
        QVERIFY(fetchRemote(opened, "upstream"));
        m_scene->gitIn(m_scene->upstream, {"update-ref", "refs/heads/main", text(m_scene->base)});
        told(clone());
        QVERIFY(fetchRemote(opened, "upstream"));
        const QStringList both = told(clone(), text(m_scene->main));
        QCOMPARE(both.filter("refs/espalier/kept/").size(), 2);
        QCOMPARE(both.filter("refs/remotes/upstream/main").size(), 2);
        QVERIFY2(areInOrder(both), qPrintable(both.join('\n')));
    }

    // One that does not end is stopped with the push, of which nothing was sent yet.
    void aHookThatDoesNotEnd()
    {
        const Repository opened = m_scene->repo.open();
        m_scene->replayTopic();
        m_scene->writeScript(clone() + "/.git/hooks/reference-transaction",
                             "#!/bin/sh\n[ $1 != prepared ] || exec sleep 3600\n");
        std::stop_source stop;
        const Progress progress{stop.get_token(), [&stop](std::string_view step, std::uint64_t, std::uint64_t) {
                                    if (step.contains("reference-transaction"))
                                        stop.request_stop();
                                }};
        const auto stopped = push(opened, {"topic/x", "origin", oid(m_scene->topic[1])}, {}, progress);
        QVERIFY(!stopped);
        QCOMPARE(stopped.error().kind, ErrorKind::Cancelled);
        QVERIFY2(stopped.error().line().contains("Nothing was changed on origin"), stopped.error().line().c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->topic[1]);
        QVERIFY(readLogbook(opened)->empty());
        QVERIFY(m_scene->repo.git({"for-each-ref", "refs/espalier"}).empty());
    }

    // Where it lets no tip be kept nothing is pushed; where it lets none go it stays. Neither stands in the way of what follows.
    void keptTipsThatItRefuses()
    {
        const Repository opened = m_scene->repo.open();
        m_scene->replayTopic();
        hook(clone(), "refs/espalier/kept");
        const auto refused = push(opened, {"topic/x", "origin", oid(m_scene->topic[1])});
        QVERIFY(!refused);
        QCOMPARE(refused.error().kind, ErrorKind::Refused);
        QVERIFY2(refused.error().line().contains("the tide decides"), refused.error().line().c_str());
        QCOMPARE(m_scene->forkAt("topic/x"), m_scene->topic[1]);
        QVERIFY(readLogbook(opened)->empty());
        QVERIFY(m_scene->repo.git({"for-each-ref", "refs/espalier"}).empty());

        hook(clone());
        const auto pushed = push(opened, {"topic/x", "origin", oid(m_scene->topic[1])});
        QVERIFY2(pushed, whyNot(pushed).c_str());
        hook(clone(), "0000000 refs/espalier/kept");
        const auto stays = forgetEntry(opened, pushed->entry.id);
        QVERIFY(!stays);
        QVERIFY2(stays.error().line().contains("the tide decides"), stays.error().line().c_str());
        QCOMPARE(findEntry(opened, pushed->entry.id)->state, EntryState::Done);
        QCOMPARE(m_scene->repo.git({"rev-parse", text(keptRef(pushed->entry.id, 0))}), m_scene->topic[1]);
        const GitRun next = runProgram(ESPALIER_PROGRAM, {"update", clone()}, clone());
        QVERIFY2(next.exitCode == 0, next.err.constData());
        QVERIFY(restorePush(opened, pushed->entry.id));
    }
};

int main(int argc, char** argv)
{
    const QTemporaryDir home;
    qputenv("HOME", home.path().toUtf8());
    QCoreApplication app(argc, argv);
    TestRemoteHooks test;
    return QTest::qExec(&test, argc, argv);
}

#include "test_remote_hooks.moc"

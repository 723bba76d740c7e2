// SPDX-License-Identifier: MIT
// Board, dry run and overwrite check tell alike what a new version of a branch replaces on the fork, and whose it is.
#include "app/drift/drift_model.h"
#include "app/dryrun/meaning.h"
#include "app/overwrite/overwrite_page.h"
#include "app/support/text.h"
#include "core/keep/apply.h"
#include "core/replay/rewrite.h"
#include "tests/support/remote_scene.h"

#include <QPushButton>
#include <QtTest>

using namespace espalier;
using namespace espalier::test;

namespace {
constexpr int patience = 20000;
}

class TestWhose : public QObject {
    Q_OBJECT

    std::unique_ptr<RemoteScene> m_scene;

    // Mira wrote the commits of topic/x; the clone is Oda's. Upstream has changed the line that the first one changes.
    void openScene()
    {
        m_scene = std::make_unique<RemoteScene>();
        const TempRepository& repo = m_scene->repo;
        repo.git({"config", "user.name", "Oda Vik"});
        repo.git({"config", "user.email", "oda@example.org"});
        const std::string meets =
            m_scene->repo.commitFiles({{"a.txt", "one\ntwo, upstream's\nthree\n"}}, "Upstream meets", {m_scene->main});
        repo.git({"push", "--quiet", m_scene->upstream, QString::fromStdString(meets + ":refs/heads/main")});
        repo.git({"fetch", "--quiet", "--all"});
    }

    DryRun dryRunOf(const Snapshot& snapshot, const Settlements& settlements)
    {
        const Repository repository = m_scene->repo.open();
        PlanOptions options;
        options.committer = Person{"Oda Vik", "oda@example.org", 1772000000, 60};
        const auto plan = planBranch(repository, snapshot, "refs/heads/topic/x", snapshot.mainLineRef()->tip,
                                     "upstream/main", options);
        return dryRun(repository, plan.value(), settlements).value();
    }

    SnapshotPtr snapshot() const { return takeSnapshot(m_scene->repo.open()).value(); }

    static QString rowText(const QString& path, Session& session, int role)
    {
        session.open(path);
        if (!QTest::qWaitFor([&] { return session.drift() != nullptr; }, patience))
            return QStringLiteral("not opened");
        DriftModel model;
        model.setSession(&session);
        model.reload();
        return model.data(model.index(model.indexOf("refs/heads/topic/x")), role).toString();
    }

    // What its labels and buttons have.
    static QStringList saidBy(const OverwritePage& page)
    {
        QStringList said;
        for (const auto* label : page.findChildren<PlainLabel*>())
            said << label->fullText();
        for (const auto* button : page.findChildren<QPushButton*>())
            said << button->text();
        return said;
    }

  private Q_SLOTS:
    void cleanup() { m_scene.reset(); }

    void anotherPersonsCommitsHaveTheirNewVersions()
    {
        openScene();
        const QString same = QStringLiteral(
            "2 commits replaced by their new versions (written by Mira Holm), none without a counterpart");
        const SnapshotPtr before = snapshot();
        // Also while the conflict is open.
        for (const bool settled : {false, true}) {
            const DryRun run =
                dryRunOf(*before, settled ? Settlements().withDefault(Choice::NewBaseFirst) : Settlements());
            QCOMPARE(run.clean, settled);
            const auto copy = forkCopyOf(m_scene->repo.open(), *before, run);
            QVERIFY(copy && !copy->fastForwards);
            const QString meaning = meaningOf(run, *copy);
            QVERIFY2(meaning.endsWith(same + QStringLiteral(".")), qPrintable(meaning));
            QVERIFY(!meaning.contains(QStringLiteral("of yours")));
            QVERIFY(!cautionsOf(run, *copy).join(u' ').contains(QStringLiteral("no counterpart")));
            if (settled)
                QVERIFY(apply(m_scene->repo.open(), makeRewrite(run).value()));
        }

        Session session;
        const QString board = rowText(m_scene->repo.path(), session, Qt::AccessibleTextRole);
        QVERIFY2(board.contains(QStringLiteral("fork: older version, ") + same), qPrintable(board));

        const auto check = overwriteCheck(m_scene->repo.open(), "topic/x", true);
        QVERIFY(check && check->foreign.empty() && check->removed.empty());
        QCOMPARE(check->pairs.size(), std::size_t(2));
        OverwritePage page(nullptr);
        page.show();
        page.showFor(*check);
        const QStringList said = saidBy(page);
        QVERIFY2(said.join(u'\n').contains(QStringLiteral("All were written by Mira Holm.")),
                 qPrintable(said.join(u'\n')));
        QVERIFY(!said.join(u'\n').contains(QStringLiteral("Of others")));
        m_scene->checkSound();
    }

    // A branch of upstream's has the same commits (a pull request's, say): the fork's copy is replaced all the same.
    void upstreamShowsTheCommits()
    {
        openScene();
        TempRepository& repo = m_scene->repo;
        repo.git({"push", "--quiet", m_scene->upstream, "topic/x:refs/heads/request"});
        repo.git({"fetch", "--quiet", "--all"});
        const SnapshotPtr before = snapshot();
        for (const bool settled : {false, true}) {
            const DryRun run =
                dryRunOf(*before, settled ? Settlements().withDefault(Choice::NewBaseFirst) : Settlements());
            const auto copy = forkCopyOf(repo.open(), *before, run);
            QVERIFY(copy && copy->exists && copy->onUpstream && !copy->fastForwards);
            const QString meaning = meaningOf(run, *copy);
            QVERIFY2(meaning.contains(QStringLiteral("will need a forced update")), qPrintable(meaning));
            if (settled)
                QVERIFY(apply(repo.open(), makeRewrite(run).value()));
        }
        const auto check = overwriteCheck(repo.open(), "topic/x", true);
        QVERIFY(check && !check->fastForward);
        OverwritePage page(nullptr);
        page.show();
        page.showFor(*check);
        const QStringList said = saidBy(page);
        QVERIFY2(said.join(u'\n').contains(QStringLiteral("what stands there stays on upstream")),
                 qPrintable(said.join(u'\n')));
        QVERIFY2(said.contains(QStringLiteral("&Move the fork's branch to yours")), qPrintable(said.join(u'\n')));
    }

    // Of the fork's commits one has landed upstream meanwhile, one is a stranger's that nobody else has, and one is Oda's
    // own from another computer.
    void whatHasNoCounterpartIsNamed()
    {
        openScene();
        TempRepository& repo = m_scene->repo;
        const auto onTop = [&](const std::string& parent, const std::string& person, const std::string& message) {
            const std::string stamp = person + " 1700000000 +0000\n";
            return repo.writeRaw("commit", "tree " + repo.git({"rev-parse", "topic/x^{tree}"}) + "\nparent " + parent +
                                               "\nauthor " + stamp + "committer " + stamp + "\n" + message);
        };
        const std::string own = onTop(m_scene->topic[1], "Oda Vik <ODA@example.org>", "From the other computer\n");
        const std::string strange = onTop(own, "Teo Brandt <teo@example.org>", "Somebody's work\n");
        repo.git({"push", "--quiet", m_scene->fork, QString::fromStdString(strange + ":refs/heads/topic/x")});
        const std::string landed = repo.commitFiles({{"c.txt", "c\n"}}, "Second, as upstream took it",
                                                    {repo.git({"rev-parse", "upstream/main"})});
        repo.git({"push", "--quiet", m_scene->upstream, QString::fromStdString(landed + ":refs/heads/main")});
        repo.git({"fetch", "--quiet", "--all"});
        const SnapshotPtr before = snapshot();
        const DryRun run = dryRunOf(*before, Settlements().withDefault(Choice::YourCommit));
        QVERIFY(run.clean);
        const auto copy = forkCopyOf(repo.open(), *before, run);
        QVERIFY(copy);
        QVERIFY(apply(repo.open(), makeRewrite(run).value()));
        Session session;
        const QString board = rowText(repo.path(), session, Qt::AccessibleTextRole);
        const auto check = overwriteCheck(repo.open(), "topic/x", true);
        QVERIFY(check);
        const auto ids = [](const std::vector<CommitSummary>& commits) {
            std::vector<std::string> hex;
            for (const CommitSummary& commit : commits)
                hex.push_back(commit.id.hex());
            return hex;
        };
        QCOMPARE(ids(copy->replacement.foreign), std::vector{strange});
        QCOMPARE(ids(copy->replacement.removed), std::vector{own});
        QCOMPARE(ids(check->foreign), std::vector{strange});
        QCOMPARE(ids(check->removed), std::vector{own});
        QCOMPARE(copy->replacement.replaced.size(), std::size_t(2));
        QCOMPARE(check->pairs.size(), std::size_t(2));
        QVERIFY(std::ranges::any_of(check->pairs, [&](const CommitPair& pair) { return pair.now.id.hex() == landed; }));
        QCOMPARE(copy->replacement.line(),
                 "2 commits replaced by their new versions (written by Mira Holm), 2 without a "
                 "counterpart (1 of them written by Teo Brandt)");
        QVERIFY2(board.contains(QStringLiteral("fork: 2 without counterpart")), qPrintable(board));
        QVERIFY2(board.contains(toText(copy->replacement.line())), qPrintable(board));
    }
};

QTEST_MAIN(TestWhose)
#include "test_whose.moc"

// SPDX-License-Identifier: MIT
// The dry run page and its flow on a real repository: outcomes, edits of the plan by mouse and keyboard, apply.
#include "app/dryrun/commit_list.h"
#include "app/dryrun/dry_run_page.h"
#include "app/dryrun/meaning.h"
#include "core/conflicts/conflict_text.h"
#include "core/samples/samples.h"

#include <QPushButton>
#include <QToolButton>
#include <QTreeView>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int patience = 20000;
constexpr char cleanTopic[] = "refs/heads/topic/moon-phase";
constexpr char sameTopic[] = "refs/heads/topic/metric-heights";

DryRun madeUp()
{
    DryRun run;
    run.plan.label = "topic/metric-heights";
    run.plan.ontoLabel = "upstream/main";
    run.plan.onto = Oid::parse("4c19d02000000000000000000000000000000001").value();
    const char* subjects[] = {"Add a unit to Height", "Convert stored feet", "Round <b>heights</b>", "Label the axis"};
    for (int i = 0; i < 4; ++i) {
        ReplayedCommit commit;
        commit.id.bytes[19] = std::uint8_t(i + 1);
        commit.subject = subjects[i];
        commit.files = {"core/height.cpp"};
        run.commits.push_back(commit);
        run.plan.commits.push_back({commit.id, Treatment::Carry, {}, commit.subject});
    }
    run.commits[0].outcome = Outcome::Landed;
    run.commits[0].landedAs = run.plan.onto;
    run.commits[1].outcome = Outcome::Conflict;
    Conflict conflict;
    conflict.path.path = "core/height.cpp";
    conflict.path.hunks.resize(2);
    conflict.hunks = conflict.undecided = 2;
    run.commits[1].conflicts = {conflict};
    run.commits[2].dependsOn = {1};
    return run;
}

} // namespace

class TestDryRunPage : public QObject {
    Q_OBJECT

    QTemporaryDir m_folder;
    std::unique_ptr<Session> m_session;
    std::unique_ptr<ReplayFlow> m_flow;
    std::unique_ptr<DryRunPage> m_page;

    template <typename T> T* child(const char* name) const { return m_page->findChild<T*>(QLatin1String(name)); }

    void startOn(const char* sample, const std::string& branch)
    {
        const std::filesystem::path folder =
            m_folder.filePath(QUuid::createUuid().toString(QUuid::Id128)).toStdString();
        const auto built = buildSample(sample, folder);
        QVERIFY2(built, built ? "" : built.error().line().c_str());
        m_session = std::make_unique<Session>();
        m_session->open(QString::fromStdString(built->clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen(), patience);
        auto repository = Repository::open(built->clone);
        QVERIFY(repository);
        const Snapshot& snapshot = *m_session->snapshot();
        QVERIFY(snapshot.mainLineRef());
        PlanOptions options;
        options.committer = Person{"Mira Sol", "mira@example.org", 1772000000, 60};
        const auto plan =
            planBranch(*repository, snapshot, branch, snapshot.mainLineRef()->tip, "upstream/main", options);
        QVERIFY2(plan, plan ? "" : plan.error().line().c_str());
        m_flow = std::make_unique<ReplayFlow>(m_session.get());
        m_page = std::make_unique<DryRunPage>(m_session.get(), m_flow.get());
        m_page->resize(1100, 560);
        m_page->show();
        m_flow->start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_flow->run() && !m_flow->isBusy(), patience);
    }
    void settled() { QTRY_VERIFY_WITH_TIMEOUT(!m_flow->isBusy(), patience); }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_flow.reset();
        m_session.reset();
    }

    void saysWhatItMeans()
    {
        const DryRun run = madeUp();
        ForkCopy copy;
        copy.known = copy.exists = true;
        copy.replacement.replaced.resize(3);
        for (CommitPair& pair : copy.replacement.replaced)
            pair.byUser = true;
        QCOMPARE(meaningOf(run, copy),
                 QStringLiteral("4 commits become 3. The fork's copy will need a forced update: 3 commits replaced by "
                                "their new versions, none without a counterpart."));
        QVERIFY(cautionsOf(run, copy).join(u' ').contains(QStringLiteral("contribution rules")));
        CommitSummary other;
        other.author = "Teo <b>Brandt</b>";
        copy.replacement.foreign = {other};
        QVERIFY(meaningOf(run, copy).contains(
            QStringLiteral("versions, 1 without a counterpart (written by Teo <b>Brandt</b>).")));
        QVERIFY(cautionsOf(run, copy).join(u' ').contains(QStringLiteral("1 commit of Teo <b>Brandt</b>")));
        copy = {};
        copy.known = copy.fastForwards = true;
        QVERIFY(meaningOf(run, copy).contains(QStringLiteral("plain push")));
        QVERIFY(cautionsOf(run, copy).isEmpty());
    }

    // A word and a symbol, never colour alone; markup in a subject stays text.
    void showsEveryOutcome()
    {
        DryRunPage page(nullptr, nullptr);
        QSignalSpy ghosts(&page, &DryRunPage::ghostChanged);
        page.showRun(std::make_shared<const DryRun>(madeUp()));
        const auto* list = page.findChild<QTreeView*>(QStringLiteral("commits"));
        const auto text = [&](int row, int column) { return list->model()->index(row, column).data().toString(); };
        QCOMPARE(text(0, CommitListModel::Found), QStringLiteral("≡ landed"));
        QVERIFY(text(0, CommitListModel::Detail).contains(QStringLiteral("4c19d02")));
        QCOMPARE(text(1, CommitListModel::Found), QStringLiteral("▲ conflict"));
        QCOMPARE(text(1, CommitListModel::Detail), QStringLiteral("core/height.cpp: 2 hunks"));
        QCOMPARE(text(2, CommitListModel::Found), QStringLiteral("✓ clean, depends on 2"));
        QCOMPARE(text(2, CommitListModel::Subject), QStringLiteral("Round <b>heights</b>"));
        QCOMPARE(list->currentIndex().row(), 1);
        QCOMPARE(ghosts.size(), 1);
        const auto ghost = ghosts.front().front().value<ReplayGhost>();
        QCOMPARE(ghost.commits.size(), 3);
        QVERIFY(!page.findChild<QPushButton*>(QStringLiteral("apply"))->isEnabled());
        QCOMPARE(page.findChild<QPushButton*>(QStringLiteral("settle"))->text().remove(u'&'),
                 QStringLiteral("Settle 2 hunks"));
    }

    void cleanRunIsAppliedByKeyboard()
    {
        startOn("same-lines", cleanTopic);
        QVERIFY(m_flow->run()->clean);
        auto* apply = child<QPushButton>("apply");
        QTRY_VERIFY(apply->isEnabled());
        m_page->focusApply();
        QSignalSpy applied(m_flow.get(), &ReplayFlow::applied);
        QSignalSpy closed(m_page.get(), &DryRunPage::closed);
        const Oid announced = *m_flow->run()->newTip;
        const std::string branch = m_flow->plan().branch;
        QTest::keyClick(apply, Qt::Key_Space);
        QTRY_COMPARE_WITH_TIMEOUT(applied.size(), 1, patience);
        QCOMPARE(closed.size(), 1);
        auto repository = Repository::open(m_session->path().toStdString());
        QCOMPARE(repository->resolve(branch)->hex(), announced.hex());
    }

    void conflictsLeadToSettling()
    {
        startOn("same-lines", sameTopic);
        QVERIFY(!m_flow->run()->clean);
        QSignalSpy asked(m_page.get(), &DryRunPage::settleRequested);
        QTest::mouseClick(child<QPushButton>("settle"), Qt::LeftButton);
        QCOMPARE(asked.size(), 1);
        auto* list = child<QTreeView>("commits");
        list->setFocus();
        QTest::keyClick(list, Qt::Key_Return);
        QCOMPARE(asked.size(), 2);
        QVERIFY(!child<QPushButton>("apply")->isEnabled());
    }

    void editsThePlanByKeyboard()
    {
        startOn("same-lines", sameTopic);
        auto* list = child<QTreeView>("commits");
        const int rows = list->model()->rowCount();
        QVERIFY(rows >= 2);
        const Oid first = m_flow->plan().commits[0].id;
        list->setFocus();
        list->setCurrentIndex(list->model()->index(0, 1));
        QTest::keyClick(list, Qt::Key_Down, Qt::AltModifier);
        settled();
        QCOMPARE(m_flow->plan().commits[1].id, first);
        QCOMPARE(list->currentIndex().row(), 1);
        QTest::keyClick(list, Qt::Key_Up, Qt::AltModifier);
        settled();
        QCOMPARE(m_flow->plan().commits[0].id, first);
        QTest::keyClick(list, Qt::Key_Delete);
        settled();
        QCOMPARE(m_flow->plan().commits[0].treatment, Treatment::LeaveOut);
        QCOMPARE(list->model()->index(0, CommitListModel::Found).data().toString(), QStringLiteral("− left out"));
        QTest::keyClick(list, Qt::Key_Delete);
        settled();
        QCOMPARE(m_flow->plan().commits[0].treatment, Treatment::Carry);
    }

    void rowsMoveByDropping()
    {
        startOn("same-lines", sameTopic);
        auto* list = child<QTreeView>("commits");
        const Oid first = m_flow->plan().commits[0].id;
        const std::unique_ptr<QMimeData> data(list->model()->mimeData({list->model()->index(0, 0)}));
        list->model()->dropMimeData(data.get(), Qt::MoveAction, 2, 0, {});
        settled();
        QCOMPARE(m_flow->plan().commits[1].id, first);
    }

    void decisionsAreKeptAndTakenUpAgain()
    {
        startOn("same-lines", sameTopic);
        const DryRunPtr run = m_flow->run();
        const std::size_t at = run->firstConflict();
        auto repository = Repository::open(m_session->path().toStdString());
        const auto text = conflictText(*repository, *run, at, 0);
        QVERIFY(text);
        FileSettlement made = undecided(*text);
        made.decide(0, {Choice::YourCommit, {}});
        const std::size_t before = run->undecided();
        m_flow->settle(text->key, made);
        settled();
        QCOMPARE(m_flow->run()->undecided(), before - 1);
        m_flow->undo();
        settled();
        QCOMPARE(m_flow->run()->undecided(), before);
        QVERIFY(m_flow->canRedo());
        m_flow->redo();
        settled();
        QCOMPARE(m_flow->run()->undecided(), before - 1);
        const Plan plan = m_flow->plan();
        m_flow->close();
        m_flow->start(plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_flow->run() && !m_flow->isBusy(), patience);
        QCOMPARE(m_flow->run()->undecided(), before - 1);
    }

    void failureIsSaid()
    {
        startOn("same-lines", cleanTopic);
        Plan broken = m_flow->plan();
        broken.commits[0].id = Oid::parse("1234567890123456789012345678901234567890").value();
        QSignalSpy failed(m_flow.get(), &ReplayFlow::failed);
        m_flow->setPlan(broken);
        QTRY_COMPARE_WITH_TIMEOUT(failed.size(), 1, patience);
        QVERIFY(m_flow->run());
    }
};

QTEST_MAIN(TestDryRunPage)
#include "test_dry_run_page.moc"

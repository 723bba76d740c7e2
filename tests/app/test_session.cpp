// SPDX-License-Identifier: MIT
// Works that write: one at a time, in order, cancelled and answered one by one; and what the pages make of that.
#include "app/drift/clean_up_page.h"
#include "app/drift/drift_model.h"
#include "app/session/replay_flow.h"
#include "app/support/text.h"
#include "app/support/work_queue.h"
#include "app/window/dialogs.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/samples/samples.h"
#include "tests/support/temp_repository.h"

#include <QDialog>
#include <QLineEdit>
#include <QPushButton>
#include <QTreeWidget>
#include <QtTest>

#include <atomic>
#include <future>
#include <semaphore>

using namespace espalier;

namespace {

constexpr int patience = 20000;

// What a thread asks the window, while the window goes on.
template <typename Ask> auto whileAsked(Ask ask)
{
    auto answer = std::async(std::launch::async, std::move(ask));
    while (answer.wait_for(std::chrono::seconds(0)) != std::future_status::ready)
        QCoreApplication::processEvents(QEventLoop::AllEvents, 50);
    return answer.get();
}

} // namespace

class TestSession : public QObject {
    Q_OBJECT

    QTemporaryDir m_folder;
    std::filesystem::path m_clone;
    std::unique_ptr<Session> m_session;

    void openSample(const char* name)
    {
        const std::filesystem::path folder =
            m_folder.filePath(QUuid::createUuid().toString(QUuid::Id128)).toStdString();
        const auto built = buildSample(name, folder);
        QVERIFY2(built, built ? "" : built.error().line().c_str());
        m_clone = built->clone;
        m_session = std::make_unique<Session>();
        m_session->open(QString::fromStdString(m_clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen(), patience);
    }
    std::string git(const QStringList& arguments) const
    {
        const auto run = test::runProgram(QStringLiteral("git"), arguments, QString::fromStdString(m_clone.string()));
        return run.exitCode == 0 ? run.out.trimmed().toStdString() : "failed";
    }
    std::vector<LogbookEntry> logbook() const
    {
        auto repository = Repository::open(m_clone);
        return repository ? readLogbook(*repository).value_or(std::vector<LogbookEntry>())
                          : std::vector<LogbookEntry>();
    }

  private Q_SLOTS:
    void cleanup() { m_session.reset(); }

    void worksRunOneAfterAnother()
    {
        WorkQueue queue;
        std::atomic<int> running = 0, together = 0;
        QList<int> begun, answered;
        QMutex mutex;
        for (int i = 0; i < 20; ++i)
            queue.add<int>(
                QStringLiteral("Work"),
                [&, i](const Progress&) -> Result<int> {
                    if (++running > 1)
                        ++together;
                    {
                        const QMutexLocker held(&mutex);
                        begun << i;
                    }
                    QThread::yieldCurrentThread();
                    --running;
                    return i;
                },
                [&](const Result<int>& done) { answered << done.value(); });
        QVERIFY(!queue.isIdle());
        QTRY_COMPARE_WITH_TIMEOUT(answered.size(), 20, patience);
        QVERIFY(queue.isIdle());
        QCOMPARE(together.load(), 0);
        for (int i = 0; i < 20; ++i) {
            QCOMPARE(begun[i], i);
            QCOMPARE(answered[i], i);
        }
    }

    void aFailureStopsNothingElse()
    {
        WorkQueue queue;
        QStringList lines;
        const auto tell = [&](const Result<std::string>& done) { lines << toText(done ? *done : done.error().what); };
        queue.add<std::string>(
            QStringLiteral("One"),
            [](const Progress&) -> Result<std::string> { return fail(ErrorKind::Refused, "no", "one"); }, tell);
        queue.add<std::string>(
            QStringLiteral("Two"), [](const Progress&) -> Result<std::string> { return "two"; }, tell);
        QTRY_COMPARE_WITH_TIMEOUT(lines.size(), 2, patience);
        QCOMPARE(lines, QStringList({QStringLiteral("no"), QStringLiteral("two")}));
    }

    void whatIsCancelledWhileItWaitsNeverRuns()
    {
        WorkQueue queue;
        std::counting_semaphore<2> goOn(0);
        const auto atTheEnd = qScopeGuard([&] { goOn.release(); }); // also when a check below fails
        bool ran = false;
        QStringList answers;
        const auto tell = [&](const QString& name) {
            return [&answers, name](const Result<bool>& done) {
                answers << name + (done ? QStringLiteral(" done") : QString::fromStdString(" " + done.error().what));
            };
        };
        QPointer<Work> first = queue.add<bool>(
            QStringLiteral("First"),
            [&](const Progress& progress) -> Result<bool> {
                goOn.acquire();
                return progress.stopped() ? Result<bool>(cancelled()) : Result<bool>(true);
            },
            tell(QStringLiteral("first")));
        QPointer<Work> second = queue.add<bool>(
            QStringLiteral("Second"), [&](const Progress&) -> Result<bool> { return ran = true; },
            tell(QStringLiteral("second")));
        queue.add<bool>(
            QStringLiteral("Third"), [](const Progress&) -> Result<bool> { return true; },
            tell(QStringLiteral("third")));
        QCOMPARE(first->waiting(), 2);
        second->cancel();
        QCOMPARE(answers, QStringList(QStringLiteral("second Stopped"))); // at once, while the first still runs
        QCOMPARE(first->waiting(), 1);
        first->cancel(); // that one hears of it only through its stop token
        QCOMPARE(answers.size(), 1);
        goOn.release();
        QTRY_COMPARE_WITH_TIMEOUT(answers.size(), 3, patience);
        QCOMPARE(answers.mid(1), QStringList({QStringLiteral("first Stopped"), QStringLiteral("third done")}));
        QVERIFY(!ran);
        QTRY_VERIFY(second.isNull());
    }

    void operationsFollowEachOther()
    {
        openSample("same-lines");
        const std::string tip = git({QStringLiteral("rev-parse"), QStringLiteral("topic/metric-heights")});
        QStringList said;
        connect(m_session.get(), &Session::said, this, [&](const QString& line) { said << line; });
        QSignalSpy failed(m_session.get(), &Session::failed);
        const Oid at = Oid::parse(tip).value();
        // Each needs what the one before it did; together they would be refused.
        m_session->createBranch("topic/a", at, false);
        m_session->renameBranch("topic/a", "topic/b");
        m_session->checkOut("topic/b");
        m_session->checkOut("main");
        m_session->deleteBranch("topic/b");
        QVERIFY(m_session->isWriting());
        QTRY_VERIFY_WITH_TIMEOUT(!m_session->isWriting(), patience);
        QVERIFY2(failed.isEmpty(), failed.isEmpty() ? "" : qPrintable(failed.front().front().toString()));
        QCOMPARE(said.size(), 5);
        QCOMPARE(git({QStringLiteral("symbolic-ref"), QStringLiteral("HEAD")}), std::string("refs/heads/main"));
        QCOMPARE(git({QStringLiteral("for-each-ref"), QStringLiteral("refs/heads/topic/a"),
                      QStringLiteral("refs/heads/topic/b")}),
                 std::string());
        QTRY_VERIFY_WITH_TIMEOUT(!m_session->isLoading(), patience);
        QVERIFY(!m_session->snapshot()->findRef("refs/heads/topic/b"));
    }

    void eachErrorReachesWhoAsked()
    {
        openSample("same-lines");
        QSignalSpy failed(m_session.get(), &Session::failed);
        QStringList lines;
        LogbookEntry none;
        none.id = "20260101-000000-1";
        none.title = "nothing";
        m_session->takeBack(none, {}, [&](const Result<std::string>& done) {
            lines << (done ? QStringLiteral("done") : toText(done.error().line()));
        });
        m_session->deleteBranch("topic/never-there"); // nobody waits for this one's answer
        QTRY_VERIFY_WITH_TIMEOUT(!m_session->isWriting(), patience);
        QCOMPARE(lines.size(), 1);
        QVERIFY2(lines.front().contains(QStringLiteral("20260101-000000-1")), qPrintable(lines.front()));
        QCOMPARE(failed.size(), 1);
        QVERIFY(failed.front().front().toString().contains(QStringLiteral("never-there")));
    }

    // What was asked for in a repository that is no longer shown is finished, and its answer disturbs nobody.
    void anotherRepositoryMeanwhile()
    {
        openSample("same-lines");
        const Oid at = Oid::parse(git({QStringLiteral("rev-parse"), QStringLiteral("main")})).value();
        bool answered = false;
        m_session->createBranch("topic/kept", at, false);
        m_session->checkOverwrite({"topic/metric-heights"},
                                  [&](const Result<std::vector<OverwriteCheck>>&) { answered = true; });
        QTemporaryDir other;
        const auto built = buildSample("stacked", other.filePath(QStringLiteral("other")).toStdString());
        QVERIFY(built);
        m_session->open(QString::fromStdString(built->clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen() && !m_session->isLoading(), patience);
        QTRY_COMPARE_WITH_TIMEOUT(git({QStringLiteral("rev-parse"), QStringLiteral("topic/kept")}), at.hex(), patience);
        bool last = false;
        m_session->checkOverwrite({"topic/never-there"},
                                  [&](const Result<std::vector<OverwriteCheck>>&) { last = true; });
        QTRY_VERIFY_WITH_TIMEOUT(last, patience);
        m_session->open(QString::fromStdString(m_clone.string()));
        QTRY_VERIFY_WITH_TIMEOUT(m_session->isOpen() && !m_session->isWriting(), patience);
        QVERIFY(!answered);
    }

    // A forecast of what stood here before is shown as such until the new one is there.
    void anOldForecastIsShownAsOld()
    {
        openSample("same-lines");
        DriftModel model;
        model.setSession(m_session.get());
        connect(m_session.get(), &Session::driftChanged, &model, &DriftModel::reload);
        connect(m_session.get(), &Session::forecastChanged, &model, &DriftModel::updateForecast);
        model.reload();
        const auto row = [&] { return model.row(model.indexOf("refs/heads/topic/metric-heights")); };
        QTRY_VERIFY_WITH_TIMEOUT(model.indexOf("refs/heads/topic/metric-heights") >= 0, patience);
        QTRY_VERIFY_WITH_TIMEOUT(row().forecast.startsWith(QStringLiteral("▲")), patience);
        QVERIFY(!row().forecastOld);
        const QString before = row().forecast;
        QStringList seen;
        QString read;
        connect(m_session.get(), &Session::driftChanged, &model, [&] {
            seen << row().forecast;
            read =
                model.index(model.indexOf("refs/heads/topic/metric-heights")).data(Qt::AccessibleTextRole).toString();
        });
        m_session->refresh(true);
        QTRY_COMPARE_WITH_TIMEOUT(seen.size(), 1, patience);
        QCOMPARE(seen.front(), QStringLiteral("… ") + before);
        QVERIFY2(read.contains(QStringLiteral("being forecast again")), qPrintable(read));
        QTRY_COMPARE_WITH_TIMEOUT(row().forecast, before, patience);
    }

    // Half a year behind the main line, not behind the clock: the samples' commits are years old.
    void oldBranchesAreListedApart()
    {
        openSample("same-lines");
        DriftModel model;
        model.setSession(m_session.get());
        QString id = QStringLiteral("main");
        for (int count = 0; count < 12; ++count)
            id = QString::fromUtf8(
                test::runProgram(QStringLiteral("git"),
                                 {QStringLiteral("commit-tree"), QStringLiteral("-p"), id, QStringLiteral("-m"),
                                  QStringLiteral("Old"), QStringLiteral("main^{tree}")},
                                 QString::fromStdString(m_clone.string()), {},
                                 {{QStringLiteral("GIT_COMMITTER_DATE"), QStringLiteral("1000000000 +0000")}})
                    .out.trimmed());
        for (const char* name : {"refs/heads/topic/ancient", "refs/remotes/origin/topic/left-behind"})
            QCOMPARE(git({QStringLiteral("update-ref"), QLatin1String(name), id}), std::string());
        m_session->refresh(true);
        QTRY_VERIFY_WITH_TIMEOUT(m_session->drift() && m_session->snapshot()->findRef("refs/heads/topic/ancient"),
                                 patience);
        QTRY_COMPARE_WITH_TIMEOUT(m_session->drift()->snapshot, m_session->snapshot(), patience);
        model.reload();
        const auto groupOf = [&](const char* ref) {
            int at = model.indexOf(ref);
            while (at >= 0 && !model.row(at).heading)
                --at;
            return at < 0 ? QString() : model.row(at).text;
        };
        const QString old = QStringLiteral("Untouched for half a year");
        QCOMPARE(groupOf("refs/heads/topic/ancient"), old);
        QCOMPARE(groupOf("refs/remotes/origin/topic/left-behind"), old);
        QCOMPARE(groupOf("refs/heads/topic/metric-heights"), QStringLiteral("Your branches"));
        QCOMPARE(groupOf("refs/heads/main"), QStringLiteral("Your branches"));
        // The axis is that of the others.
        std::uint32_t most = 0;
        for (int at = 0; at < model.rowCount(); ++at)
            if (groupOf(model.row(at).ref.c_str()) != old)
                most = std::max(most, model.row(at).ahead);
        QCOMPARE(model.maxAhead(), most);
        QVERIFY(model.row(model.indexOf("refs/heads/topic/ancient")).ahead > most);
    }

    // Several deletions at once: one branch moves underneath and stays, the page says so, the others go.
    void cleansUpSeveralAtOnce()
    {
        openSample("already-landed");
        CleanUpPage page(m_session.get());
        page.resize(900, 600);
        page.show();
        page.reload();
        QTRY_VERIFY_WITH_TIMEOUT(!page.candidates().empty(), patience);
        // Three more that stand on the main line.
        for (const char* name : {"topic/one", "topic/two", "topic/three"})
            git({QStringLiteral("branch"), QLatin1String(name), QStringLiteral("upstream/main~1")});
        m_session->refresh(true);
        QTRY_VERIFY_WITH_TIMEOUT(page.candidates().size() >= 4, patience);
        const std::size_t before = page.candidates().size();
        // Moved after the page was filled, with a commit of its own: deleting it now would lose that.
        const std::string own = git({QStringLiteral("commit-tree"), QStringLiteral("-p"), QStringLiteral("topic/two"),
                                     QStringLiteral("-m"), QStringLiteral("Own"), QStringLiteral("topic/two^{tree}")});
        git({QStringLiteral("update-ref"), QStringLiteral("refs/heads/topic/two"), QString::fromStdString(own)});
        auto* remove = page.findChild<QPushButton*>(QStringLiteral("delete"));
        QTRY_VERIFY_WITH_TIMEOUT(remove->isEnabled(), patience);
        QTest::mouseClick(remove, Qt::LeftButton);
        QTRY_VERIFY_WITH_TIMEOUT(!m_session->isWriting(), patience);
        QTRY_VERIFY_WITH_TIMEOUT(!m_session->isLoading(), patience);
        QCOMPARE(git({QStringLiteral("rev-parse"), QStringLiteral("topic/two")}), own);
        QCOMPARE(git({QStringLiteral("for-each-ref"), QStringLiteral("refs/heads/topic/one"),
                      QStringLiteral("refs/heads/topic/three")}),
                 std::string());
        QVERIFY2(page.findChild<NoticeBar*>()->line().contains(QStringLiteral("topic/two")),
                 qPrintable(page.findChild<NoticeBar*>()->line()));
        QVERIFY(before >= 4);
        for (const LogbookEntry& entry : logbook())
            QCOMPARE(entry.state, EntryState::Done);
    }

    // A decision made in the moment before closing is there when the same replay is started again at once.
    void aDecisionOutlivesAQuickRestart()
    {
        openSample("same-lines");
        auto repository = Repository::open(m_clone);
        const Snapshot& snapshot = *m_session->snapshot();
        const auto plan = planBranch(*repository, snapshot, "refs/heads/topic/metric-heights",
                                     snapshot.mainLineRef()->tip, "upstream/main");
        QVERIFY(plan);
        ReplayFlow flow(m_session.get());
        flow.start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(flow.run() && !flow.isBusy(), patience);
        const std::size_t commit = flow.run()->firstConflict();
        const auto text = conflictText(*repository, *flow.run(), commit, 0);
        QVERIFY(text);
        FileSettlement settlement = undecided(*text);
        for (const Choice choice : {Choice::NewBase, Choice::YourCommit, Choice::NewBaseFirst}) {
            settlement.decide(0, {choice, {}});
            flow.settle(text->key, settlement); // each cancels the dry run of the one before
        }
        flow.close();
        flow.start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(flow.run() && !flow.isBusy(), patience);
        const FileSettlement* kept = flow.settlements().find(text->key);
        QVERIFY(kept);
        QCOMPARE(kept->decision(0).choice, Choice::NewBaseFirst);
        // Another replay in between does not take it either.
        settlement.decide(0, {Choice::YourCommitFirst, {}});
        flow.settle(text->key, settlement);
        const auto other =
            planBranch(*repository, snapshot, "refs/heads/topic/metric-heights", plan->mergeBase, "its base");
        if (other)
            flow.start(*other);
        flow.start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(flow.run() && !flow.isBusy(), patience);
        kept = flow.settlements().find(text->key);
        QVERIFY(kept);
        QCOMPARE(kept->decision(0).choice, Choice::YourCommitFirst);
        // Nor does the end of the program: the last of many in a row is on the disk.
        auto ending = std::make_unique<ReplayFlow>(m_session.get());
        ending->start(*plan);
        QTRY_VERIFY_WITH_TIMEOUT(ending->run() && !ending->isBusy(), patience);
        for (int i = 0; i < 30; ++i) {
            settlement.decide(0, {Choice::Typed, std::to_string(i) + "\n"});
            ending->settle(text->key, settlement);
        }
        ending.reset();
        const Settlements saved = loadOpenSettlements(*repository, replayKey(*plan));
        QVERIFY(saved.find(text->key));
        QCOMPARE(saved.find(text->key)->decision(0).text, std::string("29\n"));
    }

    // The question about a certificate: shown with its fingerprint, not taken for granted, and asked once.
    void asksAboutACertificate()
    {
        QWidget window;
        window.show();
        const Access access = dialogs::accessFor(&window);
        QString shown;
        int asked = 0;
        bool accept = false;
        QTimer user;
        connect(&user, &QTimer::timeout, &user, [&] {
            auto* dialog = qobject_cast<QDialog*>(QApplication::activeModalWidget());
            if (!dialog)
                return;
            ++asked;
            for (const auto* label : dialog->findChildren<PlainLabel*>())
                shown += label->fullText();
            accept ? dialog->accept() : dialog->reject();
        });
        user.start(20);
        const auto ask = [&](const char* fingerprint) {
            return whileAsked([&] { return access.trustHost("forge.example.org", fingerprint); });
        };
        QVERIFY(!ask("AB:CD:EF"));
        QCOMPARE(asked, 1);
        QVERIFY2(shown.contains(QStringLiteral("AB:CD:EF")) && shown.contains(QStringLiteral("forge.example.org")),
                 qPrintable(shown));
        accept = true;
        QVERIFY(ask("AB:CD:EF")); // a no is no answer for ever
        QCOMPARE(asked, 2);
        QVERIFY(ask("AB:CD:EF"));
        QCOMPARE(asked, 2);
        accept = false;
        QVERIFY(!ask("01:23:45")); // another certificate of the same host
        QCOMPARE(asked, 3);
    }

    // What ssh asks: a host key is shown and not taken for granted, a passphrase is hidden while it is typed. ssh's own words.
    void asksWhatSshAsks()
    {
        QWidget window;
        window.show();
        const Access access = dialogs::accessFor(&window);
        QString shown;
        QLineEdit::EchoMode echo = QLineEdit::Normal;
        bool accept = false, careful = false;
        QTimer user;
        connect(&user, &QTimer::timeout, &user, [&] {
            auto* dialog = qobject_cast<QDialog*>(QApplication::activeModalWidget());
            if (!dialog)
                return;
            for (const auto* label : dialog->findChildren<PlainLabel*>())
                shown += label->fullText();
            if (auto* field = dialog->findChild<QLineEdit*>()) {
                echo = field->echoMode();
                field->setText(QStringLiteral("a  secret"));
            }
            if (const QString kept = qEnvironmentVariable("ESPALIER_KEEP_PICTURES"); !kept.isEmpty())
                dialog->grab().save(kept + QStringLiteral("/ssh-%1.png").arg(shown.size()));
            // Enter does not vouch for a host.
            const auto buttons = dialog->findChildren<QPushButton*>();
            careful = std::ranges::any_of(
                buttons, [](const auto* button) { return button->isDefault() && button->text().contains("Cancel"); });
            accept ? dialog->accept() : dialog->reject();
        });
        user.start(20);
        const auto ask = [&](SshQuestion::Kind kind, const char* words) {
            shown.clear();
            return whileAsked([&] { return access.askSsh({kind, words}); });
        };
        const char* unknown = "The authenticity of host 'forge.example.org (203.0.113.7)' can't be established.\n"
                              "ED25519 key fingerprint is SHA256:5pWv0Xn3yS0Y1mJqk7oRkq2cZ8bGv0r7b1Q2m3n4o5p.\n"
                              "This key is not known by any other names.\n"
                              "Are you sure you want to continue connecting (yes/no/[fingerprint])? ";
        QVERIFY(!ask(SshQuestion::Kind::HostKey, unknown));
        QVERIFY(careful);
        QVERIFY2(shown.contains(QStringLiteral("SHA256:5pWv0Xn3yS0Y1")) && !shown.contains(QStringLiteral("yes/no")),
                 qPrintable(shown));
        accept = true;
        QCOMPARE(ask(SshQuestion::Kind::HostKey, unknown), std::optional<std::string>("yes"));
        QCOMPARE(ask(SshQuestion::Kind::Secret, "Enter passphrase for key '/home/mira/.ssh/id_ed25519': "),
                 std::optional<std::string>("a  secret"));
        QCOMPARE(echo, QLineEdit::Password);
        QVERIFY2(shown.contains(QStringLiteral("id_ed25519")), qPrintable(shown));
        QCOMPARE(ask(SshQuestion::Kind::Consent, "Allow use of key mira?"), std::optional<std::string>("yes"));
        accept = false;
        QVERIFY(!ask(SshQuestion::Kind::Secret, "Enter passphrase: "));
        QVERIFY(!ask(SshQuestion::Kind::Consent, "Allow use of key mira?"));
    }
};

QTEST_MAIN(TestSession)
#include "test_session.moc"

// SPDX-License-Identifier: MIT
//
// One opened repository as the pages see it: the newest snapshot and what was computed from it, and the operations, run
// off the GUI thread. Operations run one after another in the order they were asked for, so that no two ever write at the
// same time; what is read meanwhile is read again afterwards. Pages hold no repository state of their own.
//
//     session->push({request}, [=](const Result<std::vector<Pushed>>& pushed) { … });
//     connect(session, &Session::snapshotChanged, view, [=] { view->setSnapshot(session->snapshot(), session->lanes()); });
#pragma once

#include "core/history/drift.h"
#include "core/history/local_changes.h"
#include "core/keep/apply.h"
#include "core/lanes/lanes.h"
#include "core/remotes/clean_up.h"
#include "core/remotes/fetch.h"
#include "core/remotes/overwrite_check.h"
#include "core/remotes/push.h"
#include "core/remotes/take_back.h"
#include "core/replay/news.h"

#include <QHash>
#include <QObject>
#include <QString>

#include <functional>
#include <memory>
#include <optional>

namespace espalier {

// What opening a repository made of a change that was interrupted there.
struct Recovery {
    QString line;        // empty: there was none
    bool failed = false; // it is half done still, and the line says why
};

using DryRunPtr = std::shared_ptr<const DryRun>;

// What an operation tells whoever asked for it, once, on the GUI thread: also that it failed or was stopped. It is not
// told when another repository was opened meanwhile.
template <typename T> using Answer = std::function<void(const Result<T>&)>;

// What was done and what is to be said beside it, in one line: a line of its own would take the place of the first before
// anybody has read that.
QString doneLine(const Applied& done);

class EquivalenceCache;

class Session : public QObject {
    Q_OBJECT
  public:
    explicit Session(QObject* parent = nullptr);
    ~Session() override;

    // How the user is asked for logins and about unknown hosts; without it every such question is answered "no".
    void setAccess(const Access& access);

    // Opens in the background; snapshotChanged or openFailed follows. Recovers a begun logbook entry first.
    void open(const QString& path);
    bool isOpen() const { return m_snapshot != nullptr; }
    QString path() const { return m_path; }

    // True once a load has been started and until it has answered.
    bool isLoading() const;

    // Null before the first snapshot.
    SnapshotPtr snapshot() const { return m_snapshot; }
    // What the forecasts have read of this repository's commits, for others that compare changes; shared by threads.
    std::shared_ptr<EquivalenceCache> equivalence() const;
    // Of the opening of this repository.
    const Recovery& recovery() const { return m_recovery; }
    // As it was counted last; nothing until then, and for a bare repository.
    const std::optional<LocalChanges>& localChanges() const { return m_localChanges; }
    // All rows but what only tags reach, which is folded; the graph lays out what it folds, focuses or filters itself.
    LanesPtr lanes() const { return m_lanes; }
    std::shared_ptr<const Drift> drift() const { return m_drift; }
    // Empty until drift() is there.
    const MainLines& mainLines() const { return m_mainLines; }
    // By full ref name; Unknown until computed.
    Forecast forecast(const std::string& ref) const;
    // The clone's branches and those of the fork are forecast; what upstream has need not land there.
    static bool isForecast(const Ref& ref);
    // What forecast() gives is of an older snapshot, or nothing yet; the new answer is on its way.
    bool isForecastOld(const std::string& ref) const;

    // What was seen when everything had been forecast last, and what was new then against the look before. A look of an earlier
    // run, set before the first forecast is through, counts as the one before.
    void setLastLook(const Look& look);
    const Look& lastLook() const;
    const News& news() const;

    // Reads the repository again when it changed (or in any case when `force`). Also called by the file watcher.
    void refresh(bool force = false);

    // Operations. What was done is said; what failed goes to `answer`, and to `failed` where there is none. Each refreshes.
    void fetch(const std::string& remote);
    void fetchAll();
    void bringUpToDate();
    void moveMainToTopic(const std::string& topic);
    void apply(const DryRunPtr& run, Answer<Applied> answer = {});
    // In the order of the branches; all or none.
    void checkOverwrite(const std::vector<std::string>& branches, Answer<std::vector<OverwriteCheck>> answer);
    // In one step, see pushAll().
    void push(const std::vector<PushRequest>& requests, Answer<std::vector<Pushed>> answer = {});
    // The answer is the title of the new entry. Where branches moved since, only with what movedSince() told in `agreed`.
    void takeBack(const LogbookEntry& entry, const std::vector<MovedBranch>& agreed = {},
                  Answer<std::string> answer = {});
    void movedSince(const LogbookEntry& entry, Answer<std::vector<MovedBranch>> answer);
    void letGo(const LogbookEntry& entry, Answer<bool> answer = {});
    void checkOut(const std::string& branch);
    void createBranch(const std::string& branch, const Oid& at, bool checkItOut);
    void renameBranch(const std::string& from, const std::string& to);
    void deleteBranch(const std::string& branch);
    void cleanUp(const CleanUpCandidate& candidate, bool alsoFork, Answer<std::vector<LogbookEntry>> answer = {});
    void setRoles(const std::string& upstream, const std::string& fork);
    void addRemote(const std::string& name, const std::string& url, bool asUpstream);
    // An operation runs or waits.
    bool isWriting() const;

    // Plans from the newest snapshot; empty on failure, which `failed` has then reported.
    void plan(const std::string& branch, const Oid& onto, const std::string& ontoLabel,
              std::function<void(const Plan&)> then);
    void planRange(const std::string& branch, const Oid& below, const Oid& tip, const Oid& onto,
                   const std::string& ontoLabel, std::function<void(const Plan&)> then);

  Q_SIGNALS:
    void snapshotChanged();
    // While a large repository is being opened: its newest rows, to be looked at until snapshotChanged.
    void firstRowsRead(const espalier::SnapshotPtr& snapshot, const espalier::LanesPtr& lanes);
    // The repository could not be opened at all; isOpen() stays false.
    void openFailed(const QString& line);
    void driftChanged();
    void localChangesChanged();
    // They have been counted again, with whatever outcome: what a file holds may have changed without its number.
    void localChangesCounted();
    void forecastChanged(const QString& ref);
    // The whole list was forecast: `milliseconds` it took.
    void forecastsDone(qint64 milliseconds);
    void said(const QString& line);
    void failed(const QString& line);
    // The main line has commits of its own; the offer is moveMainToTopic().
    void mainLineHasOwnCommits(int count);

  private:
    void offerFirstRows(const SnapshotPtr& snapshot, const LanesPtr& lanes);
    void takeUp(SnapshotPtr snapshot, LanesPtr lanes, std::uint64_t fingerprint);
    void countChangesNow();
    void computeDriftNow();
    void forecastNow();
    void applied(const Applied& done);
    void makePlan(std::function<Result<Plan>(const Repository&)> make, std::function<void(const Plan&)> then);
    template <typename T, typename Job, typename Report>
    void operate(const QString& title, Job job, Report report, Answer<T> answer = {});

    struct Private;
    std::unique_ptr<Private> d;
    QString m_path;
    SnapshotPtr m_snapshot;
    LanesPtr m_lanes;
    Recovery m_recovery;
    std::optional<LocalChanges> m_localChanges;
    std::shared_ptr<const Drift> m_drift;
    MainLines m_mainLines;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a session reads: the snapshot and what is computed from it. What it changes is in session_operations.cpp.
#include "app/session/session_private.h"
#include "app/support/hand_over.h"
#include "app/support/text.h"
#include "core/keep/recover.h"
#include "core/replay/forecast.h"

#include <QElapsedTimer>
#include <QTimer>

namespace espalier {

namespace {

// What one load brings.
struct Loaded {
    SnapshotPtr snapshot;
    LanesPtr lanes;
    std::uint64_t fingerprint = 0;
    Recovery recovery;
    bool unchanged = false;
};

Recovery recoverIn(const Repository& repository)
{
    const auto resolved = resolveOpenEntries(repository);
    if (!resolved)
        return {toText(resolved.error().line()), true};
    QStringList lines;
    for (const std::string& done : resolved->lines)
        lines << toText(done + '.');
    for (const HalfDone& open : resolved->halfDone)
        lines << toText(open.line());
    return {lines.join(QLatin1Char(' ')), !resolved->halfDone.empty()};
}

// What is of most concern first: the branch that is checked out, then those worked on lately, the clone's before those that
// only the fork has.
std::vector<int> forecastOrder(const Drift& drift, const Snapshot& snapshot)
{
    constexpr std::int64_t lately = std::int64_t(60) * 60 * 24 * 180;
    const Ref* mainLine = snapshot.mainLineRef();
    const std::int64_t now = mainLine && mainLine->row != noRow ? snapshot.history.time(mainLine->row) : 0;
    std::vector<std::pair<std::tuple<bool, bool, bool, std::int64_t>, int>> ranked;
    for (const BranchDrift& branch : drift.branches) {
        const Ref& ref = snapshot.refs[std::size_t(branch.ref)];
        if (!Session::isForecast(ref))
            continue;
        const std::int64_t time = ref.row == noRow ? 0 : snapshot.history.time(ref.row);
        ranked.emplace_back(std::tuple(ref.name != snapshot.worktree.headBranch, time < now - lately,
                                       ref.kind != RefKind::Branch, -time),
                            branch.ref);
    }
    std::ranges::sort(ranked);
    std::vector<int> order;
    for (const auto& [rank, ref] : ranked)
        order.push_back(ref);
    return order;
}

// What is known already, and who wants to know what while it is read.
struct Asked {
    std::optional<std::uint64_t> fingerprint; // nothing is read while it is still this
    SnapshotPtr previous;
    bool isFirst = false;
    std::function<void(SnapshotPtr)> firstRows;
};

Result<Loaded> load(const Repository& repository, const Asked& asked, WatchedFolders& folders, const Progress& progress)
{
    Loaded loaded;
    if (asked.isFirst)
        loaded.recovery = recoverIn(repository);
    loaded.fingerprint = repositoryFingerprint(repository);
    if (asked.fingerprint == loaded.fingerprint) {
        loaded.unchanged = true;
        return loaded;
    }
    auto snapshot = takeSnapshot(repository, progress, asked.previous, asked.isFirst ? asked.firstRows : nullptr);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    LanesOptions options;
    options.foldTagged = true;
    auto lanes = layOut(*snapshot, options, progress);
    if (!lanes)
        return std::unexpected(lanes.error());
    folders.set(repository, progress.stop);
    loaded.snapshot = *snapshot;
    loaded.lanes = *lanes;
    return loaded;
}

struct Counted {
    Drift drift;
    MainLines mainLines;
};

} // namespace

Session::Session(QObject* parent) : QObject(parent), d(std::make_unique<Private>())
{
    connect(&d->watch, &RepositoryWatch::changed, this, [this] { refresh(); });
    connect(&d->watch, &RepositoryWatch::worktreeChanged, this, &Session::countChangesNow);
}

Session::~Session()
{
    for (const QPointer<Work>& work : {d->loading, d->drifting, d->counting})
        if (work)
            work->cancel();
}

void Session::setAccess(const Access& access) { d->access = access; }
bool Session::isLoading() const { return !d->loading.isNull(); }

void Session::open(const QString& path)
{
    if (d->loading)
        d->loading->cancel();
    for (const QPointer<Work>& work : {d->drifting, d->counting})
        if (work)
            work->cancel();
    ++d->generation;
    m_path = path;
    m_recovery = {};
    m_localChanges.reset();
    m_snapshot.reset();
    m_lanes.reset();
    m_drift.reset();
    d->forecasts.clear();
    d->lastLook = {};
    d->news = {};
    d->equivalence = std::make_shared<EquivalenceCache>(forForecasts);
    d->fingerprint = 0;
    d->loading.clear();
    refresh(true);
}

void Session::refresh(bool force)
{
    if (m_path.isEmpty())
        return;
    if (d->loading) {
        d->loadAgain = true;
        d->forceAgain |= force;
        return;
    }
    const bool first = !m_snapshot;
    const auto showFirst = [self = QPointer<Session>(this), generation = d->generation](const SnapshotPtr& snapshot) {
        const auto lanes = layOut(snapshot);
        if (!lanes)
            return;
        callOnGuiThread([self, generation, snapshot, lanes = *lanes] {
            if (self && generation == self->d->generation)
                self->offerFirstRows(snapshot, lanes);
        });
    };
    const auto job = [first, force, showFirst, known = d->fingerprint, folders = d->watch.folders(),
                      previous = m_snapshot](const Repository& repository, const Progress& progress) {
        return load(repository, {force ? std::nullopt : std::optional(known), previous, first, showFirst}, *folders,
                    progress);
    };
    const auto then = [this, generation = d->generation](Result<Loaded> loaded) {
        d->loading.clear();
        if (generation != d->generation)
            return;
        if (loaded && !loaded->recovery.line.isEmpty())
            m_recovery = loaded->recovery;
        if (loaded && !loaded->unchanged)
            takeUp(std::move(loaded->snapshot), std::move(loaded->lanes), loaded->fingerprint);
        if (loaded) {
            countChangesNow();
        } else if (loaded.error().kind != ErrorKind::Cancelled) {
            Q_EMIT failed(toText(loaded.error().line()));
            if (!m_snapshot)
                Q_EMIT openFailed(toText(loaded.error().line()));
        }
        if (std::exchange(d->loadAgain, false))
            refresh(std::exchange(d->forceAgain, false));
    };
    // Looking whether something changed is no work to show; reading it is.
    d->loading = startWork<Loaded>(this, tr("Reading the repository"), withRepository<Loaded>(m_path, job), then,
                                   force ? WorkPriority::Shown : WorkPriority::Background);
}

// A picture that the whole one follows at once would only flicker.
void Session::offerFirstRows(const SnapshotPtr& snapshot, const LanesPtr& lanes)
{
    constexpr int patience = 120;
    QTimer::singleShot(patience, this, [this, snapshot, lanes, generation = d->generation] {
        if (generation == d->generation && !m_snapshot)
            Q_EMIT firstRowsRead(snapshot, lanes);
    });
}

void Session::takeUp(SnapshotPtr snapshot, LanesPtr lanes, std::uint64_t fingerprint)
{
    if (d->drifting)
        d->drifting->cancel();
    ++d->generation;
    m_snapshot = std::move(snapshot);
    m_lanes = std::move(lanes);
    m_drift.reset();
    d->newForecasts.clear();
    const std::string& overrides = m_snapshot->history.overrides();
    if (!d->equivalence->holdsUnder(overrides))
        d->equivalence = std::make_shared<EquivalenceCache>(forForecasts, overrides);
    d->fingerprint = fingerprint;
    Q_EMIT snapshotChanged();
    computeDriftNow();
}

void Session::countChangesNow()
{
    if (!m_snapshot || m_snapshot->worktree.bare)
        return;
    if (d->counting) {
        d->countAgain = true;
        return;
    }
    const auto then = [this, path = m_path](const Result<LocalChanges>& changes) {
        d->counting.clear();
        if (path == m_path && changes && m_localChanges != *changes) {
            m_localChanges = *changes;
            Q_EMIT localChangesChanged();
        }
        if (path == m_path && changes)
            Q_EMIT localChangesCounted();
        if (path == m_path && !changes && changes.error().kind != ErrorKind::Cancelled)
            Q_EMIT failed(toText(changes.error().line()));
        if (std::exchange(d->countAgain, false) || path != m_path)
            countChangesNow();
    };
    d->counting = startWork<LocalChanges>(this, tr("Counting local changes"),
                                          withRepository<LocalChanges>(m_path, countLocalChanges), then,
                                          WorkPriority::Background);
}

void Session::computeDriftNow()
{
    const auto job = [snapshot = m_snapshot](const Progress& progress) -> Result<Counted> {
        auto drift = computeDrift(snapshot, DriftScope::Branches, progress);
        if (!drift)
            return std::unexpected(drift.error());
        auto mainLines = mainLinesOf(*snapshot, progress);
        if (!mainLines)
            return std::unexpected(mainLines.error());
        return Counted{std::move(*drift), *mainLines};
    };
    const auto then = [this, generation = d->generation](Result<Counted> drift) {
        if (generation != d->generation)
            return;
        if (!drift) {
            if (drift.error().kind != ErrorKind::Cancelled)
                Q_EMIT failed(toText(drift.error().line()));
            return;
        }
        m_drift = std::make_shared<const Drift>(std::move(drift->drift));
        m_mainLines = drift->mainLines;
        Q_EMIT driftChanged();
        forecastNow();
    };
    d->drifting = startWork<Counted>(this, tr("Counting commits"), job, then, WorkPriority::Background);
}

void Session::setLastLook(const Look& look) { d->lastLook = look; }
const Look& Session::lastLook() const { return d->lastLook; }
const News& Session::news() const { return d->news; }

void Session::forecastNow()
{
    struct Seen {
        Look look;
        News news;
    };
    QElapsedTimer clock;
    clock.start();
    // Answers arrive on the worker thread; they are handed over one by one so that the board fills while it is read.
    const QPointer<Session> self(this);
    const auto tellForecast = [self, generation = d->generation](const std::string& ref, const Forecast& forecast) {
        callOnGuiThread([self, generation, ref, forecast] {
            if (!self || generation != self->d->generation)
                return;
            self->d->forecasts[ref] = forecast;
            self->d->newForecasts.insert(ref);
            Q_EMIT self->forecastChanged(toText(ref));
        });
    };
    const auto job = [drift = m_drift, snapshot = m_snapshot, cache = d->equivalence, before = d->lastLook,
                      tellForecast](const Repository& repository, const Progress& progress) -> Result<Seen> {
        const std::vector<int> branches = forecastOrder(*drift, *snapshot);
        std::map<std::string, Forecast> all;
        const auto deliver = [&](int ref, const Forecast& forecast) {
            const std::string& name = snapshot->refs[std::size_t(ref)].name;
            all[name] = forecast;
            tellForecast(name, forecast);
        };
        if (auto done = espalier::forecasts(repository, *snapshot, branches, deliver, progress, {cache, true}); !done)
            return std::unexpected(done.error());
        Look now = lookAt(*snapshot, all);
        auto news = newsSince(before, now, *snapshot, progress);
        if (!news)
            return std::unexpected(news.error());
        return Seen{std::move(now), std::move(*news)};
    };
    const auto then = [this, generation = d->generation, clock](Result<Seen> seen) {
        if (generation != d->generation)
            return;
        if (seen) {
            d->lastLook = std::move(seen->look);
            d->news = std::move(seen->news);
            Q_EMIT forecastsDone(clock.elapsed());
        } else if (seen.error().kind != ErrorKind::Cancelled) {
            Q_EMIT failed(toText(seen.error().line()));
        }
    };
    d->drifting =
        startWork<Seen>(this, tr("Forecasting"), withRepository<Seen>(m_path, job), then, WorkPriority::Background);
}

std::shared_ptr<EquivalenceCache> Session::equivalence() const { return d->equivalence; }

Forecast Session::forecast(const std::string& ref) const
{
    const auto at = d->forecasts.find(ref);
    return at == d->forecasts.end() ? Forecast{} : at->second;
}

bool Session::isForecast(const Ref& ref)
{
    return ref.kind == RefKind::Branch || (ref.kind == RefKind::RemoteBranch && ref.place == Place::Fork);
}

bool Session::isForecastOld(const std::string& ref) const { return !d->newForecasts.contains(ref); }

void Session::plan(const std::string& branch, const Oid& onto, const std::string& ontoLabel,
                   std::function<void(const Plan&)> then)
{
    makePlan([=, snapshot = m_snapshot](
                 const Repository& repository) { return planBranch(repository, *snapshot, branch, onto, ontoLabel); },
             std::move(then));
}

void Session::planRange(const std::string& branch, const Oid& below, const Oid& tip, const Oid& onto,
                        const std::string& ontoLabel, std::function<void(const Plan&)> then)
{
    makePlan(
        [=, snapshot = m_snapshot](const Repository& repository) {
            return espalier::planRange(repository, *snapshot, branch, below, tip, onto, ontoLabel);
        },
        std::move(then));
}

void Session::makePlan(std::function<Result<Plan>(const Repository&)> make, std::function<void(const Plan&)> then)
{
    if (!m_snapshot)
        return;
    startWork<Plan>(
        this, tr("Planning"),
        withRepository<Plan>(m_path, [make = std::move(make)](const Repository& repository,
                                                              const Progress&) { return make(repository); }),
        [this, path = m_path, then = std::move(then)](Result<Plan> plan) {
            if (path != m_path)
                return;
            if (plan)
                then(*plan);
            else
                Q_EMIT failed(toText(plan.error().line()));
        });
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/window/session.h"

#include "app/support/text.h"
#include "app/support/work.h"
#include "app/window/repository_watch.h"
#include "core/git/text.h"
#include "core/history/equivalence.h"
#include "core/replay/forecast.h"
#include "core/replay/rewrite.h"

#include <QElapsedTimer>

namespace espalier {

namespace {

// What one load brings.
struct Loaded {
    SnapshotPtr snapshot;
    LanesPtr lanes;
    std::uint64_t fingerprint = 0;
    std::vector<std::string> recovered;
    QStringList folders;
    bool unchanged = false;
};

struct Counted {
    Drift drift;
    MainLines mainLines;
};

// How the fork's and the clone's copies of the main line stand to upstream's.
Result<MainLines> standings(const Snapshot& snapshot, const Progress& progress)
{
    MainLines found;
    const Ref* mainLine = snapshot.mainLineRef();
    if (!mainLine || mainLine->row == noRow)
        return found;
    const Ref* clone = snapshot.findRef("refs/heads/" + mainLine->branch);
    const Ref* fork = snapshot.forkCopy(mainLine->branch);
    for (const auto& [ref, standing] : {std::pair{clone, &found.clone}, std::pair{fork, &found.fork}}) {
        if (!ref || ref->row == noRow)
            continue;
        const Row tip = ref->row;
        const auto counts = driftOfAll(snapshot.history, mainLine->row, std::span(&tip, 1), progress);
        if (!counts)
            return std::unexpected(counts.error());
        *standing = counts->front();
    }
    return found;
}

QString line(const Error& error) { return toText(error.line()); }

} // namespace

struct Session::Private {
    Access access;
    std::map<std::string, Forecast> forecasts;
    std::map<std::string, Landed> landed;
    std::shared_ptr<EquivalenceCache> equivalence = std::make_shared<EquivalenceCache>();
    RepositoryWatch watch;
    QPointer<Work> loading;
    QPointer<Work> drifting;
    bool loadAgain = false;
    bool forceAgain = false;
    std::uint64_t fingerprint = 0;
    // Rises with every opened path and snapshot, so that answers about an older one are dropped.
    std::uint64_t generation = 0;
};

Session::Session(QObject* parent) : QObject(parent), d(std::make_unique<Private>())
{
    connect(&d->watch, &RepositoryWatch::changed, this, [this] { refresh(); });
}

Session::~Session()
{
    for (const QPointer<Work>& work : {d->loading, d->drifting})
        if (work)
            work->cancel();
}

void Session::setAccess(const Access& access) { d->access = access; }
bool Session::isLoading() const { return !d->loading.isNull(); }

namespace {

// Runs `job` with a repository of its own on a worker thread.
template <typename T, typename Job, typename Then>
QPointer<Work> withRepository(QObject* receiver, const QString& path, const QString& title, Job job, Then then,
                              WorkPriority priority = WorkPriority::Shown)
{
    return startWork<T>(
        receiver, title,
        [path = path.toStdString(), job = std::move(job)](const Progress& progress) -> Result<T> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return job(*repository, progress);
        },
        std::move(then), priority);
}

} // namespace

void Session::open(const QString& path)
{
    if (d->loading)
        d->loading->cancel();
    if (d->drifting)
        d->drifting->cancel();
    ++d->generation;
    m_path = path;
    m_snapshot.reset();
    m_lanes.reset();
    m_drift.reset();
    d->forecasts.clear();
    d->landed.clear();
    d->equivalence = std::make_shared<EquivalenceCache>();
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
    const auto job = [first, force, known = d->fingerprint, previous = m_snapshot](const Repository& repository, const Progress& progress) -> Result<Loaded> {
        Loaded loaded;
        if (first && !repository.isBare())
            if (auto recovered = recover(repository))
                loaded.recovered = *recovered;
        loaded.fingerprint = repositoryFingerprint(repository);
        if (!force && loaded.fingerprint == known) {
            loaded.unchanged = true;
            return loaded;
        }
        auto snapshot = takeSnapshot(repository, progress, previous);
        if (!snapshot)
            return std::unexpected(snapshot.error());
        auto lanes = layOut(*snapshot, {}, progress);
        if (!lanes)
            return std::unexpected(lanes.error());
        loaded.folders = RepositoryWatch::foldersOf(repository);
        loaded.snapshot = *snapshot;
        loaded.lanes = *lanes;
        return loaded;
    };
    const auto then = [this, generation = d->generation](Result<Loaded> loaded) {
        d->loading.clear();
        if (generation != d->generation)
            return;
        if (loaded && !loaded->unchanged) {
            d->watch.watch(loaded->folders);
            takeUp(std::move(loaded->snapshot), std::move(loaded->lanes), loaded->fingerprint);
        }
        if (loaded) {
            for (const std::string& done : loaded->recovered)
                Q_EMIT said(toText(done));
        } else if (loaded.error().kind != ErrorKind::Cancelled) {
            Q_EMIT failed(line(loaded.error()));
            if (!m_snapshot)
                Q_EMIT openFailed(line(loaded.error()));
        }
        if (std::exchange(d->loadAgain, false))
            refresh(std::exchange(d->forceAgain, false));
    };
    // Looking whether something changed is no work to show; reading it is.
    d->loading = withRepository<Loaded>(this, m_path, tr("Reading the repository"), job, then,
                                        force ? WorkPriority::Shown : WorkPriority::Background);
}

void Session::takeUp(SnapshotPtr snapshot, LanesPtr lanes, std::uint64_t fingerprint)
{
    if (d->drifting)
        d->drifting->cancel();
    ++d->generation;
    m_snapshot = std::move(snapshot);
    m_lanes = std::move(lanes);
    m_drift.reset();
    d->fingerprint = fingerprint;
    Q_EMIT snapshotChanged();
    computeDriftNow();
}

void Session::computeDriftNow()
{
    const auto job = [snapshot = m_snapshot](const Progress& progress) -> Result<Counted> {
        auto drift = computeDrift(snapshot, DriftScope::Branches, progress);
        if (!drift)
            return std::unexpected(drift.error());
        auto mainLines = standings(*snapshot, progress);
        if (!mainLines)
            return std::unexpected(mainLines.error());
        return Counted{std::move(*drift), *mainLines};
    };
    const auto then = [this, generation = d->generation](Result<Counted> drift) {
        if (generation != d->generation)
            return;
        if (!drift) {
            if (drift.error().kind != ErrorKind::Cancelled)
                Q_EMIT failed(line(drift.error()));
            return;
        }
        m_drift = std::make_shared<const Drift>(std::move(drift->drift));
        m_mainLines = drift->mainLines;
        Q_EMIT driftChanged();
        forecastNow();
    };
    d->drifting = startWork<Counted>(this, tr("Counting commits"), job, then, WorkPriority::Background);
}

void Session::forecastNow()
{
    QElapsedTimer clock;
    clock.start();
    // Answers arrive on the worker thread; they are handed over one by one so that the board fills while it is read.
    const QPointer<Session> self(this);
    const auto tellForecast = [self, generation = d->generation](const std::string& ref, const Forecast& forecast) {
        QMetaObject::invokeMethod(
            QCoreApplication::instance(),
            [self, generation, ref, forecast] {
                if (!self || generation != self->d->generation)
                    return;
                self->d->forecasts[ref] = forecast;
                Q_EMIT self->forecastChanged(toText(ref));
            },
            Qt::QueuedConnection);
    };
    const auto tellLanded = [self, generation = d->generation](const std::string& ref, const Landed& landed) {
        QMetaObject::invokeMethod(
            QCoreApplication::instance(),
            [self, generation, ref, landed] {
                if (!self || generation != self->d->generation)
                    return;
                self->d->landed[ref] = landed;
                Q_EMIT self->forecastChanged(toText(ref));
            },
            Qt::QueuedConnection);
    };
    const auto job = [drift = m_drift, snapshot = m_snapshot, cache = d->equivalence, tellForecast,
                      tellLanded](const Repository& repository, const Progress& progress) -> Result<bool> {
        std::vector<int> branches;
        for (const BranchDrift& branch : drift->branches)
            if (snapshot->refs[std::size_t(branch.ref)].kind == RefKind::Branch)
                branches.push_back(branch.ref);
        const auto deliver = [&](int ref, const Forecast& forecast) {
            tellForecast(snapshot->refs[std::size_t(ref)].name, forecast);
        };
        if (auto done = espalier::forecasts(repository, *snapshot, branches, deliver, progress); !done)
            return std::unexpected(done.error());
        if (!snapshot->mainLineRef())
            return true;
        for (const int ref : branches) {
            const Ref& branch = snapshot->refs[std::size_t(ref)];
            if (progress.stopped())
                return cancelled();
            if (branch.row == noRow || snapshot->mainLineRef()->row == noRow)
                continue;
            if (auto landed = findLanded(repository, *snapshot, branch.row, snapshot->mainLineRef()->row, *cache, progress))
                tellLanded(branch.name, *landed);
        }
        return true;
    };
    const auto then = [this, generation = d->generation, clock](Result<bool> done) {
        if (generation == d->generation && done)
            Q_EMIT forecastsDone(clock.elapsed());
    };
    d->drifting =
        withRepository<bool>(this, m_path, tr("Forecasting"), job, then, WorkPriority::Background);
}

Forecast Session::forecast(const std::string& ref) const
{
    const auto at = d->forecasts.find(ref);
    return at == d->forecasts.end() ? Forecast{} : at->second;
}

std::optional<Landed> Session::landed(const std::string& ref) const
{
    const auto at = d->landed.find(ref);
    return at == d->landed.end() ? std::nullopt : std::optional(at->second);
}

template <typename T, typename Job, typename Then> void Session::operate(const QString& title, Job job, Then then)
{
    withRepository<T>(this, m_path, title, std::move(job), [this, then = std::move(then)](Result<T> result) {
        if (result)
            then(*result);
        else if (result.error().kind == ErrorKind::Cancelled)
            Q_EMIT said(tr("Stopped. Nothing was changed."));
        else
            Q_EMIT failed(line(result.error()));
        refresh(true);
    });
}

void Session::applied(const Applied& done)
{
    Q_EMIT said(tr("Done: %1. It can be taken back from the logbook.").arg(toText(done.entry.title)));
    for (const std::string& notice : done.notices)
        Q_EMIT said(toText(notice));
}

void Session::fetch(const std::string& remote)
{
    operate<FetchReport>(
        tr("Fetching from %1").arg(toText(remote)),
        [remote, access = d->access](const Repository& repository, const Progress& progress) {
            return fetchRemote(repository, remote, access, progress);
        },
        [this](const FetchReport& report) { Q_EMIT said(toText(report.line())); });
}

void Session::fetchAll()
{
    if (!m_snapshot)
        return;
    const Roles roles = m_snapshot->roles;
    if (!roles.upstream.empty())
        fetch(roles.upstream);
    if (!roles.fork.empty() && !roles.oneForBoth())
        fetch(roles.fork);
}

void Session::bringUpToDate()
{
    operate<UpdateReport>(
        tr("Bringing the main line up to date"),
        [access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::bringUpToDate(repository, access, progress);
        },
        [this](const UpdateReport& report) {
            QStringList lines;
            for (const std::string& text : report.lines)
                lines << toText(text);
            if (!lines.isEmpty())
                Q_EMIT said(lines.join(QLatin1Char(' ')));
            if (report.ownCommits > 0)
                Q_EMIT mainLineHasOwnCommits(int(report.ownCommits));
        });
}

void Session::moveMainToTopic(const std::string& topic)
{
    const Ref* mainLine = m_snapshot ? m_snapshot->mainLineRef() : nullptr;
    if (!mainLine)
        return;
    operate<Applied>(
        tr("Moving the main line's own commits"),
        [topic, branch = mainLine->branch, to = mainLine->tip](const Repository& repository, const Progress& progress) {
            return moveToTopic(repository, branch, topic, to, progress);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::apply(const DryRunPtr& run, std::function<void(const Applied&)> then)
{
    operate<Applied>(
        tr("Applying"),
        [run](const Repository& repository, const Progress& progress) -> Result<Applied> {
            const auto rewrite = makeRewrite(*run);
            if (!rewrite)
                return std::unexpected(rewrite.error());
            return espalier::apply(repository, *rewrite, progress);
        },
        [this, then](const Applied& done) {
            applied(done);
            if (then)
                then(done);
        });
}

void Session::checkOverwrite(const std::string& branch, std::function<void(const OverwriteCheck&)> then)
{
    operate<OverwriteCheck>(
        tr("Looking at the fork's copy of %1").arg(toText(branch)),
        [branch, access = d->access](const Repository& repository, const Progress& progress) {
            return overwriteCheck(repository, branch, true, access, progress);
        },
        [then](const OverwriteCheck& check) { then(check); });
}

void Session::push(const PushRequest& request, std::function<void(const Pushed&)> then)
{
    operate<Pushed>(
        tr("Pushing %1").arg(toText(request.branch)),
        [request, access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::push(repository, request, access, progress);
        },
        [this, then](const Pushed& pushed) {
            Q_EMIT said(tr("Pushed %1.").arg(toText(pushed.branch)));
            for (const std::string& notice : pushed.notices)
                Q_EMIT said(toText(notice));
            if (then)
                then(pushed);
        });
}

void Session::restore(const LogbookEntry& entry, bool evenIfMoved, std::function<void()> then)
{
    operate<std::string>(
        tr("Taking back: %1").arg(toText(entry.title)),
        [entry, evenIfMoved, access = d->access](const Repository& repository,
                                                 const Progress& progress) -> Result<std::string> {
            if (entry.remote.empty())
                return espalier::restore(repository, entry.id, evenIfMoved, progress).transform([](const Applied& done) {
                    return done.entry.title;
                });
            return restorePush(repository, entry.id, access, progress).transform([](const Pushed& done) {
                return done.entry.title;
            });
        },
        [this, then](const std::string& title) {
            Q_EMIT said(tr("Done: %1.").arg(toText(title)));
            if (then)
                then();
        });
}

void Session::checkOut(const std::string& branch)
{
    operate<Applied>(
        tr("Checking out %1").arg(toText(branch)),
        [branch](const Repository& repository, const Progress& progress) {
            return espalier::checkOut(repository, branch, progress);
        },
        [this, branch](const Applied& done) {
            Q_EMIT said(tr("%1 is checked out.").arg(toText(branch)));
            for (const std::string& notice : done.notices)
                Q_EMIT said(toText(notice));
        });
}

void Session::createBranch(const std::string& branch, const Oid& at, bool checkItOut)
{
    operate<Applied>(
        tr("Creating %1").arg(toText(branch)),
        [branch, at, checkItOut](const Repository& repository, const Progress&) {
            return espalier::createBranch(repository, branch, at, checkItOut);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::renameBranch(const std::string& from, const std::string& to)
{
    operate<Applied>(
        tr("Renaming %1").arg(toText(from)),
        [from, to](const Repository& repository, const Progress&) {
            return espalier::renameBranch(repository, from, to);
        },
        [this](const Applied& done) { applied(done); });
}

void Session::deleteBranch(const std::string& branch)
{
    operate<Applied>(
        tr("Deleting %1").arg(toText(branch)),
        [branch](const Repository& repository, const Progress&) { return espalier::deleteBranch(repository, branch); },
        [this](const Applied& done) { applied(done); });
}

void Session::cleanUp(const CleanUpCandidate& candidate, bool alsoFork)
{
    operate<std::vector<LogbookEntry>>(
        tr("Cleaning up %1").arg(toText(candidate.branch)),
        [candidate, alsoFork, access = d->access](const Repository& repository, const Progress& progress) {
            return espalier::cleanUp(repository, candidate, alsoFork, access, progress);
        },
        [this, branch = candidate.branch](const std::vector<LogbookEntry>&) {
            Q_EMIT said(tr("%1 is cleaned up. It can be taken back from the logbook.").arg(toText(branch)));
        });
}

void Session::setRoles(const std::string& upstream, const std::string& fork)
{
    operate<bool>(
        tr("Keeping the roles"),
        [upstream, fork](const Repository& repository, const Progress&) -> Result<bool> {
            return espalier::setRoles(repository, upstream, fork).transform([] { return true; });
        },
        [this](bool) { Q_EMIT said(tr("The roles of the remotes are kept in this repository's config.")); });
}

void Session::addRemote(const std::string& name, const std::string& url, bool asUpstream)
{
    const Roles roles = m_snapshot ? m_snapshot->roles : Roles{};
    operate<FetchReport>(
        tr("Adding %1").arg(toText(name)),
        [=, access = d->access](const Repository& repository, const Progress& progress) -> Result<FetchReport> {
            if (auto added = espalier::addRemote(repository, name, url); !added)
                return std::unexpected(added.error());
            if (asUpstream)
                if (auto set = espalier::setRoles(repository, name, roles.fork.empty() ? name : roles.fork); !set)
                    return std::unexpected(set.error());
            return fetchRemote(repository, name, access, progress);
        },
        [this](const FetchReport& report) { Q_EMIT said(toText(report.line())); });
}

void Session::plan(const std::string& branch, const Oid& onto, const std::string& ontoLabel,
                   std::function<void(const Plan&)> then)
{
    makePlan([=, snapshot = m_snapshot](const Repository& repository) {
        return planBranch(repository, *snapshot, branch, onto, ontoLabel);
    }, std::move(then));
}

void Session::planRange(const std::string& branch, const Oid& below, const Oid& tip, const Oid& onto,
                        const std::string& ontoLabel, std::function<void(const Plan&)> then)
{
    makePlan([=, snapshot = m_snapshot](const Repository& repository) {
        return espalier::planRange(repository, *snapshot, branch, below, tip, onto, ontoLabel);
    }, std::move(then));
}

void Session::makePlan(std::function<Result<Plan>(const Repository&)> make, std::function<void(const Plan&)> then)
{
    if (!m_snapshot)
        return;
    withRepository<Plan>(
        this, m_path, tr("Planning"),
        [make = std::move(make)](const Repository& repository, const Progress&) { return make(repository); },
        [this, then = std::move(then)](Result<Plan> plan) {
            if (plan)
                then(*plan);
            else
                Q_EMIT failed(line(plan.error()));
        });
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/dryrun/replay_flow.h"

#include "app/support/text.h"
#include "app/support/work.h"

namespace espalier {

namespace {

struct Computed {
    Settlements settlements;
    DryRunPtr run;
};

Result<Computed> compute(const std::filesystem::path& path, const Plan& plan, Settlements settlements, bool load,
                         const Progress& progress)
{
    auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    if (load)
        settlements = loadOpenSettlements(*repository, plan);
    else if (auto saved = saveOpenSettlements(*repository, plan, settlements); !saved)
        return std::unexpected(saved.error());
    auto run = dryRun(*repository, plan, settlements, progress);
    if (!run)
        return std::unexpected(run.error());
    return Computed{std::move(settlements), std::make_shared<const DryRun>(std::move(*run))};
}

} // namespace

// One job at a time, so that decisions reach the disk in the order they were made; what changed meanwhile makes the
// running job stop and the next one begin.
struct ReplayFlow::Private {
    explicit Private(ReplayFlow* flow) : q(flow) {}

    void change(Settlements next);
    void request(bool load = false);
    void begin();
    void ended(Result<Computed> computed, bool loaded);
    void setBusy(bool busy);
    void forgetSettlements();

    ReplayFlow* q;
    QPointer<Work> work;
    bool running = false;
    bool again = false;
    bool load = false;
};

ReplayFlow::ReplayFlow(Session* session, QObject* parent)
    : QObject(parent)
    , d(std::make_unique<Private>(this))
    , m_session(session)
{
}

ReplayFlow::~ReplayFlow() = default;

void ReplayFlow::Private::setBusy(bool busy)
{
    if (q->m_busy == busy)
        return;
    q->m_busy = busy;
    Q_EMIT q->busyChanged(busy);
}

void ReplayFlow::Private::request(bool loadFirst)
{
    load = load || loadFirst;
    again = true;
    setBusy(true);
    if (running && work)
        work->cancel();
    if (!running)
        begin();
}

void ReplayFlow::Private::begin()
{
    again = false;
    running = true;
    const bool loading = std::exchange(load, false);
    work = startWork<Computed>(
        q, tr("Dry run"),
        [path = std::filesystem::path(toBytes(q->m_session->path())), plan = q->m_plan, settlements = q->m_settlements,
         loading](const Progress& progress) { return compute(path, plan, settlements, loading, progress); },
        [this, loading](Result<Computed> computed) { ended(std::move(computed), loading); });
}

void ReplayFlow::Private::ended(Result<Computed> computed, bool loaded)
{
    running = false;
    if (again) {
        load = load || (loaded && !computed);
        begin();
        return;
    }
    setBusy(false);
    if (!q->m_active)
        return;
    if (!computed) {
        if (computed.error().kind != ErrorKind::Cancelled)
            Q_EMIT q->failed(toText(computed.error().line()));
        return;
    }
    if (loaded)
        q->m_settlements = std::move(computed->settlements);
    q->m_run = std::move(computed->run);
    Q_EMIT q->runChanged();
}

void ReplayFlow::start(const Plan& plan)
{
    m_plan = plan;
    m_settlements = {};
    m_undo.clear();
    m_redo.clear();
    m_run.reset();
    m_active = true;
    Q_EMIT started();
    d->request(true);
}

void ReplayFlow::close()
{
    if (!m_active)
        return;
    m_active = false;
    m_run.reset();
    // A job that has decisions to save is left to run to its end; only its dry run is stopped.
    if (d->running && d->work)
        d->work->cancel();
    Q_EMIT closed();
}

void ReplayFlow::setPlan(const Plan& plan)
{
    if (!m_active)
        return;
    m_plan = plan;
    d->request();
}

void ReplayFlow::Private::change(Settlements next)
{
    q->m_settlements = std::move(next);
    request();
}

void ReplayFlow::settle(const SettlementKey& key, const FileSettlement& settlement)
{
    if (!m_active)
        return;
    Settlements next = m_settlements.with(key, settlement);
    if (next == m_settlements)
        return;
    m_undo.push_back(m_settlements);
    m_redo.clear();
    d->change(std::move(next));
}

void ReplayFlow::undo()
{
    if (m_undo.empty())
        return;
    m_redo.push_back(m_settlements);
    Settlements before = std::move(m_undo.back());
    m_undo.pop_back();
    d->change(std::move(before));
}

void ReplayFlow::redo()
{
    if (m_redo.empty())
        return;
    m_undo.push_back(m_settlements);
    Settlements after = std::move(m_redo.back());
    m_redo.pop_back();
    d->change(std::move(after));
}

void ReplayFlow::Private::forgetSettlements()
{
    startWork<bool>(
        q, tr("Forgetting the decisions of a finished replay"),
        [path = std::filesystem::path(toBytes(q->m_session->path())), plan = q->m_plan](const Progress&) -> Result<bool> {
            auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            if (auto forgotten = forgetOpenSettlements(*repository, plan); !forgotten)
                return std::unexpected(forgotten.error());
            return true;
        },
        // They name a tip that is no more: left behind they do no harm.
        [](const Result<bool>&) {}, WorkPriority::Background);
}

void ReplayFlow::apply()
{
    if (!m_active || m_busy || !m_run || !m_run->clean)
        return;
    m_session->apply(m_run, [self = QPointer<ReplayFlow>(this)](const Applied& done) {
        if (!self)
            return;
        self->d->forgetSettlements();
        Q_EMIT self->applied(done);
        self->close();
    });
}

} // namespace espalier

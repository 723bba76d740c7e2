// SPDX-License-Identifier: MIT
#include "app/session/replay_flow.h"

#include "app/session/readable.h"
#include "app/support/hand_over.h"
#include "app/support/text.h"
#include "app/support/work.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/settle/memory_store.h"

#include <QPointer>
#include <QThreadPool>

#include <functional>
#include <map>
#include <set>
#include <tuple>

namespace espalier {

namespace {

using Folder = std::filesystem::path;

struct Computed {
    DryRunPtr run;
    Result<ForkCopy> forkCopy;
    std::vector<FileRemarks> remarks;
};

// A remark that was answered: known by its words, since lines move, and by how many before it in the file read the same.
using Answered = std::set<std::tuple<SettlementKey, std::string, int>>;

std::vector<std::tuple<SettlementKey, std::string, int>> namesOf(const FileRemarks& file)
{
    std::vector<std::tuple<SettlementKey, std::string, int>> names;
    std::map<std::string, int> seen;
    for (const Remark& remark : file.remarks)
        names.emplace_back(file.key, remark.words, seen[remark.words]++);
    return names;
}

std::vector<FileRemarks> unanswered(const std::vector<FileRemarks>& all, const Answered& answered)
{
    std::vector<FileRemarks> left;
    for (const FileRemarks& file : all) {
        FileRemarks open{file.commit, file.key, file.path, {}};
        const auto names = namesOf(file);
        for (std::size_t i = 0; i < names.size(); ++i)
            if (!answered.contains(names[i]))
                open.remarks.push_back(file.remarks[i]);
        if (!open.remarks.empty())
            left.push_back(std::move(open));
    }
    return left;
}

Result<Computed> compute(const Folder& path, const SnapshotPtr& snapshot, const Plan& plan,
                         const Settlements& settlements, const std::shared_ptr<EquivalenceCache>& equivalence,
                         RemarkCache& known, const Progress& progress)
{
    const auto repository = Repository::open(path);
    if (!repository)
        return std::unexpected(repository.error());
    auto run = dryRun(*repository, plan, settlements, progress, equivalence);
    if (!run)
        return std::unexpected(run.error());
    auto remarks = settledRemarks(*repository, *run, known, unreadableRemarks, progress);
    if (!remarks)
        return std::unexpected(remarks.error());
    auto forkCopy = snapshot ? forkCopyOf(*repository, *snapshot, *run, progress) : ForkCopy{};
    if (progress.stopped())
        return cancelled();
    return Computed{std::make_shared<const DryRun>(std::move(*run)), std::move(forkCopy), std::move(*remarks)};
}

} // namespace

// Decisions are written and read in the order they were made, one at a time and each to its end: what is decided outlives
// the flow's closing, the next start, and the flow itself, which waits for the disk as it goes. Dry runs are computed one at
// a time beside that; what changed meanwhile makes the running one stop and the next one begin.
struct ReplayFlow::Private {
    explicit Private(ReplayFlow* flow) : q(flow) { decisions.setMaxThreadCount(1); }

    template <typename T, typename Job, typename Then> void inOrder(Job job, Then then)
    {
        runOn(&decisions, [job = std::move(job), then = std::move(then), flow = QPointer<ReplayFlow>(q)] {
            callOnGuiThread([flow, then, told = std::make_shared<Result<T>>(job())] {
                if (flow)
                    then(std::move(*told));
            });
        });
    }

    Folder path() const { return Folder(toBytes(q->m_session->path())); }
    void load();
    void save();
    void change(Settlements next);
    void request();
    void stop();
    void begin();
    void ended(Result<Computed> computed, std::uint64_t of);
    void setBusy(bool busy);
    void forgetSettlements();
    void recordWithGit(const DryRunPtr& run);
    void answer(const std::function<bool(const FileRemarks&, const Remark&)>& which);

    ReplayFlow* q;
    QThreadPool decisions; // of one thread
    QPointer<Work> work;
    std::shared_ptr<RemarkCache> known = std::make_shared<RemarkCache>(); // for the running dry run
    std::vector<FileRemarks> found;                                       // all of the newest run's
    Answered answered;
    bool running = false;
    bool again = false;
    int unsaved = 0;          // decisions on their way to the disk
    std::uint64_t replay = 0; // rises with each start, so that answers about an older replay are dropped
};

ReplayFlow::ReplayFlow(Session* session, QObject* parent)
    : QObject(parent), d(std::make_unique<Private>(this)), m_session(session)
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

void ReplayFlow::Private::load()
{
    setBusy(true);
    inOrder<Settlements>(
        [path = path(), plan = q->m_plan] {
            return Repository::open(path).transform(
                [&](const Repository& repository) { return loadOpenSettlements(repository, replayKey(plan)); });
        },
        [this, of = replay](Result<Settlements> kept) {
            if (of != replay || !q->m_active)
                return;
            if (!kept) {
                setBusy(false);
                Q_EMIT q->failed(toText(kept.error().line()));
                return;
            }
            q->m_settlements = std::move(*kept);
            request();
        });
}

void ReplayFlow::Private::save()
{
    ++unsaved;
    inOrder<bool>(
        [path = path(), plan = q->m_plan, settlements = q->m_settlements] {
            return Repository::open(path)
                .and_then([&](const Repository& repository) {
                    return saveOpenSettlements(repository, replayKey(plan), settlements);
                })
                .transform([] { return true; });
        },
        [this](const Result<bool>& done) {
            --unsaved;
            if (!done)
                Q_EMIT q->failed(toText(done.error().line()));
            else if (unsaved == 0)
                Q_EMIT q->saved();
        });
}

void ReplayFlow::Private::request()
{
    again = true;
    setBusy(true);
    if (running && work)
        work->cancel();
    if (!running)
        begin();
}

void ReplayFlow::Private::stop()
{
    again = false;
    if (running && work)
        work->cancel();
}

void ReplayFlow::Private::begin()
{
    again = false;
    running = true;
    work = startWork<Computed>(
        q, tr("Dry run"),
        [path = path(), snapshot = q->m_session->snapshot(), plan = q->m_plan, settlements = q->m_settlements,
         equivalence = q->m_session->equivalence(), known = known](const Progress& progress) {
            return compute(path, snapshot, plan, settlements, equivalence, *known, progress);
        },
        [this, of = replay](Result<Computed> computed) { ended(std::move(computed), of); });
}

void ReplayFlow::Private::ended(Result<Computed> computed, std::uint64_t of)
{
    running = false;
    if (again && q->m_active) {
        begin();
        return;
    }
    again = false;
    // A replay that has been started since is still reading its decisions, and asks for its own dry run then.
    if (of != replay || !q->m_active)
        return;
    setBusy(false);
    if (!computed) {
        if (computed.error().kind != ErrorKind::Cancelled)
            Q_EMIT q->failed(toText(computed.error().line()));
        return;
    }
    q->m_run = std::move(computed->run);
    q->m_forkCopy = computed->forkCopy.value_or(ForkCopy{});
    found = std::move(computed->remarks);
    q->m_remarks = unanswered(found, answered);
    Q_EMIT q->runChanged();
    // The dry run holds all the same: only what it means for the fork is not known.
    if (!computed->forkCopy)
        Q_EMIT q->failed(toText(computed->forkCopy.error().line()));
}

void ReplayFlow::start(const Plan& plan)
{
    Q_EMIT collecting();
    m_plan = plan;
    m_settlements = {};
    m_undo.clear();
    m_redo.clear();
    m_run.reset();
    m_remarks.clear();
    d->found.clear();
    d->answered.clear();
    m_active = true;
    ++d->replay;
    d->stop();
    Q_EMIT started();
    d->load();
}

void ReplayFlow::close()
{
    Q_EMIT collecting();
    if (!m_active)
        return;
    m_active = false;
    m_run.reset();
    m_remarks.clear();
    d->stop();
    d->setBusy(false);
    Q_EMIT closed();
}

void ReplayFlow::setPlan(const Plan& plan)
{
    Q_EMIT collecting();
    if (!m_active)
        return;
    m_plan = plan;
    d->request();
}

void ReplayFlow::Private::change(Settlements next)
{
    q->m_settlements = std::move(next);
    save();
    request();
}

void ReplayFlow::settle(const std::vector<std::pair<SettlementKey, FileSettlement>>& decided)
{
    if (!m_active)
        return;
    Settlements next = m_settlements;
    for (const auto& [key, settlement] : decided)
        next = next.with(key, settlement);
    if (next == m_settlements)
        return;
    m_undo.push_back(m_settlements);
    m_redo.clear();
    d->change(std::move(next));
}

void ReplayFlow::undo()
{
    Q_EMIT collecting();
    if (m_undo.empty())
        return;
    m_redo.push_back(m_settlements);
    Settlements before = std::move(m_undo.back());
    m_undo.pop_back();
    d->change(std::move(before));
}

void ReplayFlow::redo()
{
    Q_EMIT collecting();
    if (m_redo.empty())
        return;
    m_undo.push_back(m_settlements);
    Settlements after = std::move(m_redo.back());
    m_redo.pop_back();
    d->change(std::move(after));
}

void ReplayFlow::remember(std::vector<SettledBefore> settled, std::vector<Oid> forgotten)
{
    d->inOrder<bool>(
        [path = d->path(), settled = std::move(settled), forgotten = std::move(forgotten)] -> Result<bool> {
            const auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            for (const SettledBefore& one : settled)
                if (auto kept = espalier::remember(*repository, one, one.when); !kept)
                    return std::unexpected(kept.error());
            for (const Oid& name : forgotten)
                if (auto gone = espalier::forget(*repository, name); !gone)
                    return std::unexpected(gone.error());
            return true;
        },
        // Only a convenience for the next time: the decision itself is saved beside it, and that reports its errors.
        [](const Result<bool>&) {});
}

// So that git finds what was settled here, where it is to keep such things.
void ReplayFlow::Private::recordWithGit(const DryRunPtr& run)
{
    inOrder<bool>(
        [path = path(), run, settlements = q->m_settlements] {
            return Repository::open(path)
                .and_then(
                    [&](const Repository& repository) { return recordResolutions(repository, *run, settlements); })
                .transform([] { return true; });
        },
        [session = QPointer<Session>(q->m_session)](const Result<bool>& done) {
            if (!done && session)
                Q_EMIT session->failed(toText(done.error().line()));
        });
}

void ReplayFlow::Private::forgetSettlements()
{
    inOrder<bool>(
        [path = path(), plan = q->m_plan] {
            return Repository::open(path)
                .and_then(
                    [&](const Repository& repository) { return forgetOpenSettlements(repository, replayKey(plan)); })
                .transform([] { return true; });
        },
        // They name a tip that is no more: left behind they do no harm.
        [](const Result<bool>&) {});
}

void ReplayFlow::Private::answer(const std::function<bool(const FileRemarks&, const Remark&)>& which)
{
    for (const FileRemarks& file : found) {
        const auto names = namesOf(file);
        for (std::size_t i = 0; i < names.size(); ++i)
            if (which(file, file.remarks[i]))
                answered.insert(names[i]);
    }
    q->m_remarks = unanswered(found, answered);
    Q_EMIT q->remarksChanged();
}

void ReplayFlow::leaveAsItIs(const SettlementKey& key, const Remark& remark)
{
    d->answer([&](const FileRemarks& file, const Remark& one) { return file.key == key && one == remark; });
}

void ReplayFlow::leaveAllAsTheyAre()
{
    d->answer([](const FileRemarks&, const Remark&) { return true; });
}

void ReplayFlow::apply()
{
    Q_EMIT collecting(); // which makes it busy: what is applied is what was read
    if (!canApply() || m_applying)
        return;
    m_applying = true;
    m_session->apply(m_run, [this, self = QPointer<ReplayFlow>(this), of = d->replay](const Result<Applied>& done) {
        if (!self)
            return;
        m_applying = false;
        if (of != d->replay || !m_active) {
            if (!done)
                Q_EMIT m_session->failed(toText(done.error().line()));
            return;
        }
        if (!done) {
            Q_EMIT failed(toText(done.error().line()));
            return;
        }
        d->recordWithGit(m_run);
        d->forgetSettlements();
        Q_EMIT applied(*done);
        close();
    });
}

} // namespace espalier

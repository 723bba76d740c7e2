// SPDX-License-Identifier: MIT
#include "core/replay/batch.h"

#include "core/git/overrides.h"
#include "core/replay/caches.h"

#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>

namespace espalier {

struct Batch::Data {
    Data(const Repository& from, const BatchOptions& with, std::shared_ptr<EquivalenceCache> equivalence)
        : store(from, with.cacheBytes), caches(from, with.history), options(with)
    {
        const std::string& overrides = store.overrides().fingerprint;
        caches.equivalence = equivalence && equivalence->holdsUnder(overrides)
                                 ? std::move(equivalence)
                                 : std::make_shared<EquivalenceCache>(forForecasts, overrides);
        if (!options.committer) {
            const auto configured = committerNow(from);
            options.committer = configured ? *configured : Person{};
        }
    }

    ObjectStore store;
    ReplayCaches caches;
    BatchOptions options;
};

Batch::Batch(const Repository& repository, const BatchOptions& options, std::shared_ptr<EquivalenceCache> equivalence)
    : m_data(std::make_unique<Data>(repository, options, std::move(equivalence)))
{
}

Batch::~Batch() = default;

Result<DryRun> Batch::run(const Oid& tip, const Oid& onto, const Progress& progress)
{
    Data& data = *m_data;
    for (const Oid& id : {tip, onto})
        if (!data.store.contains(id))
            return fail(ErrorKind::NotFound, "There is no such commit in the repository", id.hex(), "Fetch it first");
    const auto plan =
        planTip(data.store, data.caches.commits, tip, onto, *data.options.committer, data.options.detectLanded);
    auto run = plan ? dryRun(data.store, data.caches, *plan, {}, progress) : std::unexpected(plan.error());
    data.store.dropNewObjects();
    return run;
}

Result<std::optional<DryRun>> Batch::runByMergesAlone(const Oid& tip, const Oid& onto, const Progress& progress)
{
    m_data->caches.searches = m_data->caches.searchMissed = false;
    auto done = run(tip, onto, progress);
    m_data->caches.searches = true;
    if (m_data->caches.searchMissed)
        return std::nullopt;
    if (!done)
        return std::unexpected(done.error());
    return std::optional(std::move(*done));
}

namespace {

Result<DryRun> runLine(const Repository& repository, Batch& batch, const BatchLine& line, const Progress& progress)
{
    const auto idOf = [&](const std::string& revision) {
        const auto id = Oid::parse(revision);
        return id ? Result<Oid>(*id) : repository.resolve(revision);
    };
    const auto tip = idOf(line.tip);
    const auto onto = idOf(line.onto);
    if (!tip || !onto)
        return std::unexpected(tip ? onto.error() : tip.error());
    return batch.run(*tip, *onto, progress);
}

// Lines wait here until a worker is free, answers until those before them are given.
struct Exchange {
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<std::pair<std::uint64_t, BatchLine>> waiting;
    std::map<std::uint64_t, BatchAnswer> ready;
    bool ended = false;
    std::optional<Error> failure;
};

void work(const Repository& outside, Exchange& exchange, const BatchOptions& options,
          const std::shared_ptr<EquivalenceCache>& equivalence, const Progress& progress)
{
    const auto repository = Repository::open(outside.path());
    std::unique_lock lock(exchange.mutex);
    if (!repository) {
        exchange.failure = repository.error();
        exchange.changed.notify_all();
        return;
    }
    lock.unlock();
    Batch batch(*repository, options, equivalence);
    for (;;) {
        lock.lock();
        exchange.changed.wait(lock, [&] { return !exchange.waiting.empty() || exchange.ended; });
        if (exchange.waiting.empty())
            return;
        auto [number, line] = std::move(exchange.waiting.front());
        exchange.waiting.pop_front();
        lock.unlock();
        BatchAnswer answer{line, runLine(*repository, batch, line, progress)};
        lock.lock();
        exchange.ready.emplace(number, std::move(answer));
        exchange.changed.notify_all();
        lock.unlock();
    }
}

Result<void> runAlone(const Repository& repository, const std::function<std::optional<BatchLine>()>& next,
                      const std::function<void(const BatchAnswer&)>& answer, const BatchOptions& options,
                      const Progress& progress)
{
    Batch batch(repository, options);
    while (const auto line = next()) {
        if (progress.stopped())
            return cancelled();
        answer({*line, runLine(repository, batch, *line, progress)});
    }
    return {};
}

} // namespace

Result<void> runBatch(const Repository& repository, unsigned threads,
                      const std::function<std::optional<BatchLine>()>& next,
                      const std::function<void(const BatchAnswer&)>& answer, const BatchOptions& options,
                      const Progress& progress)
{
    if (threads <= 1)
        return runAlone(repository, next, answer, options, progress);
    BatchOptions shared = options;
    if (!shared.committer) {
        const auto configured = committerNow(repository); // one moment for all threads
        shared.committer = configured ? *configured : Person{};
    }
    const auto equivalence = std::make_shared<EquivalenceCache>(forForecasts, readOverrides(repository).fingerprint);
    Exchange exchange;
    std::vector<std::jthread> workers;
    for (unsigned i = 0; i < threads; ++i)
        workers.emplace_back([&] { work(repository, exchange, shared, equivalence, progress); });
    std::uint64_t taken = 0, given = 0;
    bool more = true;
    const auto end = [&] {
        const std::scoped_lock lock(exchange.mutex);
        exchange.ended = true;
        exchange.waiting.clear();
        exchange.changed.notify_all();
    };
    while (more || given < taken) {
        // Not more lines ahead than keep the workers busy: memory stays flat.
        while (more && taken - given < std::uint64_t(threads) * 4) {
            auto line = next();
            if (!line) {
                more = false;
                break;
            }
            const std::scoped_lock lock(exchange.mutex);
            exchange.waiting.emplace_back(taken++, std::move(*line));
            exchange.changed.notify_all();
        }
        if (given == taken)
            break;
        std::unique_lock lock(exchange.mutex);
        exchange.changed.wait(lock, [&] { return exchange.ready.contains(given) || exchange.failure; });
        if (exchange.failure || progress.stopped()) {
            const auto failure = exchange.failure;
            lock.unlock();
            end();
            return failure ? std::unexpected(*failure) : cancelled();
        }
        const auto first = exchange.ready.extract(given++);
        lock.unlock();
        answer(first.mapped());
    }
    end();
    return {};
}

} // namespace espalier

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
    Data(const Repository& from, const BatchOptions& with, const SharedReading& shared)
        : store(from, with.cacheBytes), caches(from, with.history), options(with)
    {
        const std::string& overrides = store.overrides().fingerprint;
        caches.equivalence = shared.equivalence && shared.equivalence->holdsUnder(overrides)
                                 ? shared.equivalence
                                 : std::make_shared<EquivalenceCache>(forForecasts, overrides);
        if (shared.merges)
            caches.merges = MergeCaches::beside(*shared.merges);
        if (!options.committer) {
            const auto configured = committerNow(from);
            options.committer = configured ? *configured : Person{};
        }
    }

    ObjectStore store;
    ReplayCaches caches;
    BatchOptions options;
};

Batch::Batch(const Repository& repository, const BatchOptions& options, const SharedReading& shared)
    : m_data(std::make_unique<Data>(repository, options, shared))
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

Result<std::optional<DryRun>> Batch::runInAHurry(const Oid& tip, const Oid& onto, const Progress& progress)
{
    m_data->caches.setHurry(true);
    auto done = run(tip, onto, progress);
    const bool putOff = m_data->caches.putOff();
    m_data->caches.setHurry(false);
    if (putOff)
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
    explicit Exchange(const std::function<void(const BatchAnswer&)>& toWhom) : answer(toWhom) {}

    const std::function<void(const BatchAnswer&)>& answer;
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<std::pair<std::uint64_t, BatchLine>> waiting;
    std::map<std::uint64_t, BatchAnswer> ready;
    std::uint64_t given = 0;
    bool giving = false; // by one thread at a time, without the lock
    bool ended = false;
    std::optional<Error> failure;

    void fail(const Error& error)
    {
        const std::scoped_lock lock(mutex);
        failure = error;
        changed.notify_all();
    }
    void end()
    {
        const std::scoped_lock lock(mutex);
        ended = true;
        waiting.clear();
        changed.notify_all();
    }
    // Nothing when there will be no more.
    std::optional<std::pair<std::uint64_t, BatchLine>> take()
    {
        std::unique_lock lock(mutex);
        changed.wait(lock, [&] { return !waiting.empty() || ended || failure; });
        if (waiting.empty() || failure)
            return std::nullopt;
        auto first = std::move(waiting.front());
        waiting.pop_front();
        return first;
    }
    // Whoever has the next answer hands it over, with those behind it that are there: nobody waits for the next line.
    void put(std::uint64_t number, BatchAnswer made)
    {
        std::unique_lock lock(mutex);
        ready.emplace(number, std::move(made));
        if (giving)
            return;
        giving = true;
        while (!failure && ready.contains(given)) {
            const auto first = ready.extract(given);
            lock.unlock();
            answer(first.mapped());
            lock.lock();
            ++given;
            changed.notify_all();
        }
        giving = false;
    }
};

void work(const Repository& outside, Exchange& exchange, const BatchOptions& options, const SharedReading& reading,
          const Progress& progress)
{
    const auto repository = Repository::open(outside.path());
    if (!repository)
        return exchange.fail(repository.error());
    Batch batch(*repository, options, reading);
    while (auto line = exchange.take()) {
        auto run = runLine(*repository, batch, line->second, progress);
        if (progress.stopped())
            return exchange.fail(cancelled().error());
        exchange.put(line->first, {std::move(line->second), std::move(run)});
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

unsigned usualThreads() { return std::clamp(std::thread::hardware_concurrency(), 1u, 4u); }

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
    shared.cacheBytes = std::max(options.cacheBytes / threads, std::size_t(24) << 20);
    const SharedReading reading{std::make_shared<EquivalenceCache>(forForecasts, readOverrides(repository).fingerprint),
                                std::make_shared<const MergeCaches>()};
    Exchange exchange(answer);
    std::vector<std::jthread> workers;
    std::uint64_t taken = 0;
    while (auto line = next()) {
        std::unique_lock lock(exchange.mutex);
        // Memory stays flat, and yet one that takes long does not let the others wait for it.
        constexpr std::uint64_t linesAhead = 24; // for each thread
        exchange.changed.wait(lock, [&] { return exchange.failure || taken - exchange.given < threads * linesAhead; });
        if (exchange.failure)
            break;
        exchange.waiting.emplace_back(taken++, std::move(*line));
        exchange.changed.notify_all();
        // A few lines are not worth another thread.
        if (workers.empty() || (workers.size() < threads && exchange.waiting.size() > 2))
            workers.emplace_back([&] { work(repository, exchange, shared, reading, progress); });
    }
    std::unique_lock lock(exchange.mutex);
    exchange.changed.wait(lock, [&] { return exchange.failure || exchange.given == taken; });
    const std::optional<Error> failure = exchange.failure;
    lock.unlock();
    exchange.end();
    if (failure)
        return std::unexpected(*failure);
    return {};
}

} // namespace espalier

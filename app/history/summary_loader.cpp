// SPDX-License-Identifier: MIT
#include "app/history/summary_loader.h"

#include "app/support/hand_over.h"
#include "app/support/text.h"
#include "core/history/changes.h"

#include <condition_variable>
#include <mutex>
#include <optional>
#include <thread>

namespace espalier {

struct SummaryLoader::Shared {
    std::mutex mutex;
    std::condition_variable wake;
    std::string path;
    int generation = 0;      // of `path`
    int asked = 0;           // of `wanted`
    std::vector<Oid> wanted; // the last is read first
    bool ended = false;
    std::thread thread;
};

SummaryLoader::SummaryLoader(QObject* parent) : QObject(parent), m_shared(std::make_shared<Shared>())
{
    m_shared->thread = std::thread([shared = m_shared, self = QPointer(this)] { run(shared, self); });
}

SummaryLoader::~SummaryLoader()
{
    {
        const std::lock_guard lock(m_shared->mutex);
        m_shared->ended = true;
    }
    m_shared->wake.notify_all();
    m_shared->thread.join();
}

void SummaryLoader::setRepository(const std::string& path)
{
    if (path == m_path)
        return;
    m_path = path;
    m_cache.clear();
    m_pending = 0;
    const std::lock_guard lock(m_shared->mutex);
    m_shared->path = path;
    m_shared->generation = ++m_generation;
    m_shared->wanted.clear();
}

void SummaryLoader::want(std::vector<Oid> ids)
{
    std::erase_if(ids, [this](const Oid& id) { return m_cache.contains(id); });
    std::reverse(ids.begin(), ids.end());
    m_pending = int(ids.size());
    {
        const std::lock_guard lock(m_shared->mutex);
        m_shared->wanted = std::move(ids);
        m_shared->asked = ++m_asked;
    }
    m_shared->wake.notify_all();
}

void SummaryLoader::run(const std::shared_ptr<Shared>& shared, const QPointer<SummaryLoader>& loader)
{
    constexpr std::size_t batchSize = 48;
    std::optional<Repository> repository;
    std::optional<ObjectStore> store;
    int opened = 0;
    std::unique_lock lock(shared->mutex);
    for (;;) {
        shared->wake.wait(lock, [&] { return shared->ended || !shared->wanted.empty(); });
        if (shared->ended)
            return;
        const int generation = shared->generation, asked = shared->asked;
        const std::string path = shared->path;
        const std::size_t count = std::min(batchSize, shared->wanted.size());
        std::vector<Oid> ids(shared->wanted.rbegin(), shared->wanted.rbegin() + std::ptrdiff_t(count));
        shared->wanted.resize(shared->wanted.size() - count);
        const int pending = int(shared->wanted.size());
        lock.unlock();
        if (opened != generation) {
            store.reset();
            repository.reset();
            if (auto fresh = Repository::open(path)) {
                repository.emplace(std::move(*fresh));
                store.emplace(*repository, std::size_t(8) << 20);
            }
            opened = generation;
        }
        Batch batch;
        for (const Oid& id : ids) {
            // What cannot be read is shown by its id, and the panel says why.
            RowSummary summary{QString::fromStdString(id.brief()), {}, 0};
            if (store) {
                if (const auto found = summaryOf(*store, id))
                    summary = {toText(found->subject), toText(found->author), found->authorTime};
            }
            batch.emplace_back(id, std::move(summary));
        }
        callOnGuiThread([loader, generation, asked, batch = std::move(batch), pending] {
            if (loader)
                loader->take(generation, asked, batch, pending);
        });
        lock.lock();
    }
}

void SummaryLoader::take(int generation, int asked, const Batch& batch, int pending)
{
    if (generation != m_generation)
        return;
    if (asked == m_asked)
        m_pending = pending;
    for (const auto& [id, summary] : batch)
        m_cache.insert(id, new RowSummary(summary));
    Q_EMIT loaded();
}

} // namespace espalier

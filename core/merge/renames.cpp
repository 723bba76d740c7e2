// SPDX-License-Identifier: MIT
#include "core/merge/renames.h"

#include "core/merge/text_merge.h"

#include <algorithm>
#include <array>
#include <unordered_map>

namespace espalier {

namespace {

constexpr int wholeScore = 60000;    // git's MAX_SCORE
constexpr int leastScore = 30000;    // 50%
constexpr int leastBaseName = 45000; // 75%: half way from the least score to the whole
constexpr std::size_t mostPrintBytes = std::size_t(64) << 20;

bool isRegular(const Leaf& leaf) { return leaf.mode == FileMode::File || leaf.mode == FileMode::Executable; }

// Nothing can be told from an empty file.
const Oid emptyBlob = *Oid::parse(emptyBlobHex);

std::string_view baseName(std::string_view path) { return path.substr(path.rfind('/') + 1); }

// git's diffcore_count_changes and hash_chars: pieces end at a line end or after 64 bytes.
SimilarityCache::Print printOf(std::string_view bytes)
{
    SimilarityCache::Print print;
    print.size = bytes.size();
    const bool text = !isBinary(bytes);
    std::unordered_map<std::uint32_t, std::uint32_t> counts;
    std::uint32_t first = 0, second = 0, length = 0;
    const auto take = [&] {
        counts[(first + second * 0x61) % 107927] += length;
        first = second = length = 0;
    };
    for (std::size_t i = 0; i < bytes.size(); ++i) {
        const auto c = static_cast<unsigned char>(bytes[i]);
        if (text && c == '\r' && i + 1 < bytes.size() && bytes[i + 1] == '\n')
            continue;
        const std::uint32_t old = first;
        first = (first << 7) ^ (second >> 25);
        second = (second << 7) ^ (old >> 25);
        first += c;
        if (++length == 64 || c == '\n')
            take();
    }
    if (length > 0)
        take();
    print.chunks.assign(counts.begin(), counts.end());
    std::ranges::sort(print.chunks);
    return print;
}

int scoreOf(const SimilarityCache::Print& source, const SimilarityCache::Print& target)
{
    if (target.size == 0)
        return 0;
    std::uint64_t copied = 0;
    auto a = source.chunks.begin(), b = target.chunks.begin();
    while (a != source.chunks.end() && b != target.chunks.end()) {
        if (a->first < b->first) {
            ++a;
        } else if (b->first < a->first) {
            ++b;
        } else {
            copied += std::min(a->second, b->second);
            ++a, ++b;
        }
    }
    return int(copied * wholeScore / std::max(source.size, target.size));
}

class Detection {
  public:
    Detection(ObjectStore& store, SimilarityCache& cache, const Departures& departures)
        : m_store(store), m_cache(cache), m_sources(departures.deleted), m_targets(departures.added),
          m_sourceUsed(m_sources.size(), false), m_targetUsed(m_targets.size(), false)
    {
    }

    void exact()
    {
        std::unordered_map<Oid, std::vector<std::size_t>> byId;
        for (std::size_t i = 0; i < m_sources.size(); ++i)
            byId[m_sources[i].second.id].push_back(i);
        for (std::size_t j = 0; j < m_targets.size(); ++j) {
            const auto found = byId.find(m_targets[j].second.id);
            if (found == byId.end() || m_targets[j].second.id == emptyBlob)
                continue;
            std::optional<std::size_t> best;
            for (const std::size_t i : found->second) {
                const bool alike = m_sources[i].second.mode == m_targets[j].second.mode ||
                                   (isRegular(m_sources[i].second) && isRegular(m_targets[j].second));
                if (m_sourceUsed[i] || !alike)
                    continue;
                const bool sameName = baseName(m_sources[i].first) == baseName(m_targets[j].first);
                if (!best || sameName)
                    best = i;
                if (sameName)
                    break;
            }
            if (best)
                take(*best, j);
        }
    }

    void keepOnly(const std::function<bool(const std::string&)>& relevant)
    {
        for (std::size_t i = 0; i < m_sources.size(); ++i)
            if (!m_sourceUsed[i] && isRegular(m_sources[i].second) && relevant(m_sources[i].first))
                m_open.push_back(i);
    }

    bool hasOpen() const { return !m_open.empty(); }

    Result<void> byBaseName()
    {
        std::map<std::string_view, int> sources, targets; // -1: more than one
        const auto note = [](auto& map, std::string_view name, std::size_t index) {
            const auto [at, isNew] = map.try_emplace(name, int(index));
            if (!isNew)
                at->second = -1;
        };
        for (const std::size_t i : m_open)
            note(sources, baseName(m_sources[i].first), i);
        for (std::size_t j = 0; j < m_targets.size(); ++j)
            if (!m_targetUsed[j])
                note(targets, baseName(m_targets[j].first), j);
        for (const auto& [name, i] : sources) {
            const auto at = targets.find(name);
            if (i < 0 || at == targets.end() || at->second < 0)
                continue;
            const auto score = similarity(std::size_t(i), std::size_t(at->second), leastBaseName);
            if (!score)
                return std::unexpected(score.error());
            if (*score >= leastBaseName)
                take(std::size_t(i), std::size_t(at->second));
        }
        std::erase_if(m_open, [this](std::size_t i) { return m_sourceUsed[i]; });
        return {};
    }

    Result<void> bySimilarity(int limit, const Progress& progress)
    {
        struct Pair {
            int score;
            bool sameName;
            std::size_t source, target;
        };
        const auto open = std::size_t(std::ranges::count(m_targetUsed, false));
        if (limit > 0 && open * m_open.size() > std::size_t(limit) * std::size_t(limit))
            return {};
        std::vector<Pair> pairs;
        for (std::size_t j = 0; j < m_targets.size(); ++j) {
            if (m_targetUsed[j] || !isRegular(m_targets[j].second))
                continue;
            if (progress.stopped())
                return cancelled();
            std::vector<Pair> best;
            for (const std::size_t i : m_open) {
                const auto score = similarity(i, j, leastScore);
                if (!score)
                    return std::unexpected(score.error());
                if (*score >= leastScore)
                    best.push_back({*score, baseName(m_sources[i].first) == baseName(m_targets[j].first), i, j});
            }
            std::ranges::stable_sort(best, [](const Pair& a, const Pair& b) {
                return std::pair(a.score, a.sameName) > std::pair(b.score, b.sameName);
            });
            best.resize(std::min<std::size_t>(best.size(), 4)); // git's NUM_CANDIDATE_PER_DST
            pairs.insert(pairs.end(), best.begin(), best.end());
        }
        std::ranges::stable_sort(pairs, [](const Pair& a, const Pair& b) {
            return std::pair(a.score, a.sameName) > std::pair(b.score, b.sameName);
        });
        for (const Pair& pair : pairs)
            if (!m_sourceUsed[pair.source] && !m_targetUsed[pair.target])
                take(pair.source, pair.target);
        return {};
    }

    std::map<std::string, std::string> renames;

  private:
    void take(std::size_t source, std::size_t target)
    {
        m_sourceUsed[source] = m_targetUsed[target] = true;
        renames[m_sources[source].first] = m_targets[target].first;
    }

    // Zero when it is certainly below `least`.
    Result<int> similarity(std::size_t source, std::size_t target, int least)
    {
        const Leaf& a = m_sources[source].second;
        const Leaf& b = m_targets[target].second;
        if (!isRegular(a) || !isRegular(b))
            return 0;
        const auto sizeA = sizeOf(a.id), sizeB = sizeOf(b.id);
        if (!sizeA || !sizeB)
            return std::unexpected(!sizeA ? sizeA.error() : sizeB.error());
        const auto [small, large] = std::minmax(*sizeA, *sizeB);
        if (large * std::uint64_t(wholeScore - least) < (large - small) * wholeScore)
            return 0;
        const auto first = m_cache.print(m_store, a.id);
        if (!first)
            return std::unexpected(first.error());
        const auto second = m_cache.print(m_store, b.id);
        if (!second)
            return std::unexpected(second.error());
        return scoreOf(**first, **second);
    }

    Result<std::uint64_t> sizeOf(const Oid& id)
    {
        if (const auto at = m_sizes.find(id); at != m_sizes.end())
            return at->second;
        const auto size = m_store.size(id);
        if (size)
            m_sizes.emplace(id, *size);
        return size;
    }

    ObjectStore& m_store;
    SimilarityCache& m_cache;
    const std::vector<std::pair<std::string, Leaf>>& m_sources;
    const std::vector<std::pair<std::string, Leaf>>& m_targets;
    std::vector<bool> m_sourceUsed, m_targetUsed;
    std::vector<std::size_t> m_open;
    std::unordered_map<Oid, std::uint64_t> m_sizes;
};

} // namespace

Result<const SimilarityCache::Print*> SimilarityCache::print(ObjectStore& store, const Oid& blob)
{
    if (const auto at = m_prints.find(blob); at != m_prints.end())
        return &at->second;
    const auto object = store.read(blob, ObjectType::Blob);
    if (!object)
        return std::unexpected(object.error());
    Print print = printOf(object->view());
    m_cost += print.chunks.size() * 8 + 96;
    return &m_prints.emplace(blob, std::move(print)).first->second;
}

void SimilarityCache::trim()
{
    if (m_cost < mostPrintBytes)
        return;
    m_prints.clear();
    m_cost = 0;
}

Result<std::map<std::string, std::string>> findRenames(ObjectStore& store, SimilarityCache& cache,
                                                       const Departures& departures,
                                                       const std::function<bool(const std::string&)>& relevant,
                                                       int limit, const Progress& progress)
{
    cache.trim();
    Detection detection(store, cache, departures);
    if (departures.added.empty() || departures.deleted.empty())
        return std::move(detection.renames);
    detection.exact();
    detection.keepOnly(relevant);
    if (detection.hasOpen()) {
        if (auto done = detection.byBaseName(); !done)
            return std::unexpected(done.error());
        if (auto done = detection.bySimilarity(limit, progress); !done)
            return std::unexpected(done.error());
    }
    return std::move(detection.renames);
}

} // namespace espalier

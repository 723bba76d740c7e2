// SPDX-License-Identifier: MIT
#include "core/merge/renames.h"

#include "core/merge/directory_renames.h"
#include "core/merge/likely_sources.h"
#include "core/merge/piece_table.h"
#include "core/merge/traversal_order.h"

#include <algorithm>
#include <array>
#include <numeric>
#include <span>

namespace espalier {

namespace {

constexpr int leastScore = 30000;    // 50%
constexpr int leastBaseName = 45000; // 75%: half way from the least score to the whole
constexpr int usualLimit = 7000;

using PrintPtr = SimilarityCache::PrintPtr;

std::string_view baseName(std::string_view path) { return path.substr(path.rfind('/') + 1); }

class Detection {
  public:
    using Index = RenameField::Index;

    Detection(ObjectStore& store, SimilarityCache& cache, const RenameField& field, const RenameNeeds& needs)
        : m_store(store)
        , m_cache(cache)
        , m_field(field)
        , m_needs(needs)
        , m_order(store, needs.trees)
        , m_uses(needs.folders)
        , m_sourceUsed(field.sources().size(), false)
        , m_targetUsed(field.targets().size(), false)
    {
        m_asked = std::ranges::any_of(m_uses, [](const auto& use) { return use.second != FolderUse::None; });
    }

    // git's find_exact_renames.
    void exact()
    {
        for (const RenameField::Alike& alike : m_field.alike()) {
            const auto sources = inGitsOrder(alike.sources, m_field.sources());
            for (const Index target : inGitsOrder(alike.targets, m_field.targets()))
                if (const auto source = bestOfEqual(sources, target))
                    take(*source, target);
        }
        m_exact = m_found.size();
        if (m_asked)
            countExact();
    }

    // The sources whose new names matter, as far as they are open.
    bool listOpen()
    {
        for (const auto& [path, ofContents] : m_needs.sources) {
            const auto at = std::ranges::lower_bound(m_field.sources(), path, {}, &RenameField::File::first);
            if (at == m_field.sources().end() || at->first != path)
                continue; // an empty file
            const auto index = Index(at - m_field.sources().begin());
            if (!m_sourceUsed[index])
                m_open.push_back(index);
        }
        m_open = inGitsOrder(m_open, m_field.sources());
        return !m_open.empty();
    }

    // git's find_basename_matches.
    Result<void> byBaseName()
    {
        // How many files have a name, and the last of them; as it is before this begins.
        struct Named {
            int sources = 0, targets = 0;
            Index target = 0;
        };
        std::unordered_map<std::string_view, Named> names;
        for (const Index source : m_open)
            names.try_emplace(baseName(m_field.sources()[source].first));
        for (Index source = 0; source < m_sourceUsed.size(); ++source)
            if (!m_sourceUsed[source])
                if (const auto at = names.find(baseName(m_field.sources()[source].first)); at != names.end())
                    ++at->second.sources;
        for (Index target = 0; target < m_targetUsed.size(); ++target)
            if (!m_targetUsed[target])
                if (const auto at = names.find(baseName(m_field.targets()[target].first)); at != names.end()) {
                    ++at->second.targets;
                    at->second.target = target;
                }
        const std::vector<bool> taken = m_targetUsed;
        for (const Index source : m_open) {
            const Named& named = names[baseName(m_field.sources()[source].first)];
            if (named.targets == 0)
                continue;
            std::optional<Index> wanted = named.target;
            if (named.targets > 1 || named.sources > 1)
                wanted = guess(m_field.sources()[source].first, taken);
            if (!wanted || m_targetUsed[*wanted])
                continue;
            const auto score = similarity(source, *wanted, leastBaseName);
            if (!score)
                return std::unexpected(score.error());
            if (*score < leastBaseName)
                continue;
            take(source, *wanted);
            count(source, *wanted);
        }
        std::erase_if(m_open, [this](Index source) { return m_sourceUsed[source]; });
        return {};
    }

    // git's handle_early_known_dir_renames: where a folder's new name is known by majority already, no more files of it
    // are looked for.
    void leaveWhatIsKnown()
    {
        if (!m_asked)
            return;
        std::map<std::string, int, std::less<>> unknown;
        for (const Index source : m_open)
            for (std::string_view folder = folderOf(m_field.sources()[source].first);
                 !folder.empty() && useOf(folder) != FolderUse::None; folder = folderOf(folder))
                ++unknown[std::string(folder)];
        for (auto& [folder, use] : m_uses)
            if (use == FolderUse::Self && m_counts[folder].settled(unknown[folder]))
                use = FolderUse::Ancestor;
        std::erase_if(m_open, [this](Index source) {
            const std::string& path = m_field.sources()[source].first;
            if (m_needs.sources.at(path))
                return false;
            for (std::string_view folder = folderOf(path); useOf(folder) != FolderUse::None; folder = folderOf(folder))
                if (useOf(folder) == FolderUse::Self)
                    return false;
            return true;
        });
    }

    // The matrix of diffcore_rename_extended.
    Result<void> bySimilarity(const RenameBounds& bounds, const Progress& progress)
    {
        std::vector<Index> targets;
        for (Index target = 0; target < m_targetUsed.size(); ++target)
            if (!m_targetUsed[target])
                targets.push_back(target);
        const std::size_t limit = std::size_t(bounds.limit > 0 ? bounds.limit : usualLimit);
        const std::size_t pairs = targets.size() * m_open.size();
        if (pairs == 0 || pairs > limit * limit)
            return {};
        if (bounds.mostPairs > 0 && pairs > bounds.mostPairs)
            return cancelled();
        // Most pairs are told apart by their sizes; those are looked up once a file and not once a pair.
        std::vector<std::optional<std::uint64_t>> sizes;
        for (const Index source : m_open) {
            const auto size = sizeOf(m_field.sources()[source].second);
            if (!size)
                return std::unexpected(size.error());
            sizes.push_back(*size);
        }
        if (auto listed = listLikely(); !listed)
            return listed;
        std::vector<Pair> found;
        for (const Index target : inGitsOrder(targets, m_field.targets())) {
            if (progress.stopped())
                return cancelled();
            const auto targetSize = sizeOf(m_field.targets()[target].second);
            if (!targetSize)
                return std::unexpected(targetSize.error());
            if (!*targetSize)
                continue;
            auto best = bestSources(target, **targetSize, sizes, leastScore);
            if (best && anyTied(*best))
                best = bestSources(target, **targetSize, sizes, 0);
            if (!best)
                return std::unexpected(best.error());
            std::ranges::copy_if(*best, std::back_inserter(found),
                                 [](const Pair& pair) { return pair.score >= leastScore; });
        }
        std::ranges::stable_sort(found, Pair::before);
        for (const Pair& pair : found)
            if (!m_sourceUsed[pair.source] && !m_targetUsed[pair.target]) {
                take(pair.source, pair.target);
                count(pair.source, pair.target);
            }
        return {};
    }

    FoundRenames found()
    {
        FoundRenames result;
        for (const auto& [source, target] : m_found)
            result.to[m_field.sources()[source].first] = m_field.targets()[target].first;
        for (auto& [folder, targets] : m_counts)
            if (useOf(folder) != FolderUse::None && !targets.all().empty())
                result.folders.emplace(folder, std::move(targets));
        return result;
    }

  private:
    struct Pair {
        int score = -1; // nothing
        bool sameName = false;
        Index source = 0, target = 0;
        static bool before(const Pair& a, const Pair& b)
        {
            return std::pair(a.score, a.sameName) > std::pair(b.score, b.sameName);
        }
    };

    using Best = std::array<Pair, 4>; // git's NUM_CANDIDATE_PER_DST

    // The open sources that are most like a target; `sizes` are theirs. Those that score below `least` are left out, which
    // changes where the others stand, and so matters only among equals.
    Result<Best> bestSources(Index target, std::uint64_t targetSize,
                             const std::vector<std::optional<std::uint64_t>>& sizes, int least)
    {
        Best best;
        bool full = false; // of candidates that have something in common with the target
        const auto fits = [&](const auto& size) { return size && !tooDifferent(*size, targetSize, leastScore); };
        if (std::ranges::none_of(sizes, fits) && least >= leastScore)
            return best;
        const auto print = m_cache.print(m_store, m_field.targets()[target].second.id);
        if (!print)
            return std::unexpected(print.error());
        if (m_likely && least >= leastScore) {
            m_likely->of(**print, m_candidates);
        } else {
            m_candidates.resize(m_open.size());
            std::ranges::iota(m_candidates, 0u);
        }
        std::optional<PieceTable> ofTarget; // of many sources each meets few targets
        for (const std::uint32_t i : m_candidates) {
            const Index source = m_open[i];
            int score = 0;
            if (fits(sizes[i]) && m_likely) {
                if (!ofTarget)
                    ofTarget.emplace(*print);
                score = ofTarget->scoreOf(*m_openPrints[i], least);
            } else if (fits(sizes[i])) {
                const auto table = tableOf(source);
                if (!table)
                    return std::unexpected(table.error());
                score = (*table)->scoreOf(**print, least);
            }
            // Even one that has nothing in common takes a place, and so decides where the next ones stand: that is the order
            // among equals.
            if (score < least || (score == 0 && full))
                continue;
            const Pair pair{score, sameName(source, target), source, target};
            const auto worst = std::ranges::max_element(best, Pair::before);
            if (!Pair::before(pair, *worst))
                continue;
            *worst = pair;
            full = std::ranges::all_of(best, [](const Pair& held) { return held.score > 0; });
        }
        return best;
    }

    // Many against many are not held against each other one by one.
    Result<void> listLikely()
    {
        constexpr std::size_t many = 4;
        if (m_open.size() < many)
            return {};
        for (const Index source : m_open) {
            const PathEntry& file = m_field.sources()[source].second;
            if (!isRegularFile(file.mode)) {
                m_openPrints.emplace_back();
                continue;
            }
            const auto print = m_cache.print(m_store, file.id);
            if (!print)
                return std::unexpected(print.error());
            m_openPrints.push_back(*print);
        }
        m_likely.emplace(m_openPrints, m_cache.frequencies(), leastScore);
        return {};
    }

    static bool anyTied(const Best& best)
    {
        for (std::size_t i = 0; i < best.size(); ++i)
            for (std::size_t k = i + 1; k < best.size(); ++k)
                if (best[i].score >= leastScore && best[i].score == best[k].score &&
                    best[i].sameName == best[k].sameName)
                    return true;
        return false;
    }

    FolderUse useOf(std::string_view folder) const
    {
        const auto at = m_uses.find(std::string(folder));
        return at == m_uses.end() ? FolderUse::None : at->second;
    }

    bool sameName(Index source, Index target) const
    {
        return baseName(m_field.sources()[source].first) == baseName(m_field.targets()[target].first);
    }

    // `some` in order of path. What is inside of folders that are looked into later comes behind the rest.
    std::vector<Index> inGitsOrder(std::span<const Index> some, const std::vector<RenameField::File>& files)
    {
        std::vector<Index> ordered(some.begin(), some.end());
        m_order.sort(ordered, [&](Index index) { return std::string_view(files[index].first); });
        if (m_needs.later.empty() || ordered.size() < 2)
            return ordered;
        if (m_rank.empty())
            for (std::size_t i = 0; i < m_needs.later.size(); ++i)
                m_rank[m_needs.later[i]] = i + 1;
        std::vector<std::pair<std::size_t, Index>> ranked;
        auto last = m_rank.end();
        for (const Index index : ordered) {
            const std::string& path = files[index].first;
            if (last == m_rank.end() || !path.starts_with(last->first)) {
                // No such folder is within another, so the nearest before the path is the only one that can hold it.
                last = m_rank.upper_bound(path);
                last = last == m_rank.begin() ? m_rank.end() : std::prev(last);
                if (last != m_rank.end() && !path.starts_with(last->first))
                    last = m_rank.end();
            }
            ranked.emplace_back(last == m_rank.end() ? 0 : last->second, index);
        }
        std::ranges::stable_sort(ranked, {}, &std::pair<std::size_t, Index>::first);
        std::ranges::transform(ranked, ordered.begin(), &std::pair<std::size_t, Index>::second);
        return ordered;
    }

    // git's find_identical_files.
    std::optional<Index> bestOfEqual(const std::vector<Index>& sources, Index target) const
    {
        const PathEntry& wanted = m_field.targets()[target].second;
        std::optional<Index> best;
        int left = 100; // more alternatives than that are not looked at
        for (const Index source : sources) {
            const PathEntry& leaf = m_field.sources()[source].second;
            if (m_sourceUsed[source] ||
                (leaf.mode != wanted.mode && !(isRegularFile(leaf.mode) && isRegularFile(wanted.mode))))
                continue;
            if (sameName(source, target))
                return source;
            if (!best)
                best = source;
            if (--left == 0)
                break;
        }
        return best;
    }

    void take(Index source, Index target)
    {
        m_sourceUsed[source] = m_targetUsed[target] = true;
        m_found.emplace_back(source, target);
    }

    // ---- where folders went

    // git's update_dir_rename_counts.
    void count(Index source, Index target)
    {
        if (!m_counted)
            return;
        std::string_view from = m_field.sources()[source].first, to = m_field.targets()[target].first;
        for (bool first = true;; first = false) {
            const std::string_view oldFolder = folderOf(from), newFolder = folderOf(to);
            const std::string folder(oldFolder);
            const auto at = m_uses.find(folder);
            if (at == m_uses.end() && !m_field.removedFolders().contains(folder))
                return;
            if (!first && baseName(from) != baseName(to))
                return;
            const FolderUse use = at == m_uses.end() ? FolderUse::None : at->second;
            if (use == FolderUse::Self || first)
                m_counts[folder].add(newFolder);
            if (use == FolderUse::None || oldFolder.empty() || newFolder.empty())
                return;
            from = oldFolder;
            to = newFolder;
        }
    }

    // In the order of the targets, as git does it before it looks at names.
    void countExact()
    {
        if (std::exchange(m_exactCounted, true))
            return;
        m_counted = true;
        std::vector<Index> sourceOf(m_targetUsed.size()), targets;
        for (std::size_t i = 0; i < m_exact; ++i) {
            sourceOf[m_found[i].second] = m_found[i].first;
            targets.push_back(m_found[i].second);
        }
        std::ranges::sort(targets);
        for (const Index target : inGitsOrder(targets, m_field.targets()))
            count(sourceOf[target], target);
        for (const auto& [folder, counted] : m_counts)
            m_guesses.emplace(folder, counted.most());
    }

    // git's idx_possible_rename: the file of that name in the folder to which most files of its own went unchanged.
    std::optional<Index> guess(const std::string& path, const std::vector<bool>& taken)
    {
        if (!m_counted) {
            countExact();
            m_counted = false; // nobody asks for the rest
            m_counts.clear();
        }
        const auto at = m_guesses.find(std::string(folderOf(path)));
        if (at == m_guesses.end())
            return std::nullopt;
        std::string wanted = at->second;
        wanted += '/'; // also where the folder is the root, as git has it: nothing is found then
        wanted += baseName(path);
        const auto target = std::ranges::lower_bound(m_field.targets(), wanted, {}, &RenameField::File::first);
        if (target == m_field.targets().end() || target->first != wanted)
            return std::nullopt;
        const auto index = Index(target - m_field.targets().begin());
        return taken[index] ? std::nullopt : std::optional(index);
    }

    static bool tooDifferent(std::uint64_t a, std::uint64_t b, int least)
    {
        const auto [small, large] = std::minmax(a, b);
        return large * std::uint64_t(wholeScore - least) < (large - small) * wholeScore;
    }

    // Nothing for what has no lines to compare.
    Result<std::optional<std::uint64_t>> sizeOf(const PathEntry& leaf)
    {
        if (!isRegularFile(leaf.mode))
            return std::nullopt;
        return m_cache.size(m_store, leaf.id);
    }

    // Zero when it is certainly below `least`.
    Result<int> similarity(Index source, Index target, int least)
    {
        const PathEntry& a = m_field.sources()[source].second;
        const PathEntry& b = m_field.targets()[target].second;
        if (!isRegularFile(a.mode) || !isRegularFile(b.mode))
            return 0;
        const auto sizeA = m_cache.size(m_store, a.id), sizeB = m_cache.size(m_store, b.id);
        if (!sizeA || !sizeB)
            return std::unexpected(!sizeA ? sizeA.error() : sizeB.error());
        if (tooDifferent(*sizeA, *sizeB, least))
            return 0;
        const auto table = tableOf(source);
        if (!table)
            return std::unexpected(table.error());
        const auto print = m_cache.print(m_store, b.id);
        if (!print)
            return std::unexpected(print.error());
        return (*table)->scoreOf(**print, least);
    }

    // The source's table: candidates come source by source, or the same few sources over and over.
    Result<const PieceTable*> tableOf(Index source)
    {
        auto& table = m_tables[source];
        if (!table) {
            const auto print = m_cache.print(m_store, m_field.sources()[source].second.id);
            if (!print)
                return std::unexpected(print.error());
            table.emplace(*print);
        }
        return &*table;
    }

    ObjectStore& m_store;
    SimilarityCache& m_cache;
    const RenameField& m_field;
    const RenameNeeds& m_needs;
    TraversalOrder m_order;
    std::map<std::string, FolderUse> m_uses; // falls as folders become known
    std::map<std::string, std::size_t> m_rank;
    std::vector<bool> m_sourceUsed, m_targetUsed;
    std::vector<std::pair<Index, Index>> m_found;
    std::size_t m_exact = 0; // so many of them are of equal contents
    std::vector<Index> m_open;
    std::unordered_map<Index, std::optional<PieceTable>> m_tables; // of sources
    std::optional<LikelySources> m_likely;                         // of m_open
    std::vector<PrintPtr> m_openPrints;
    std::vector<std::uint32_t> m_candidates; // places in m_open
    bool m_asked = false, m_counted = false, m_exactCounted = false;
    std::map<std::string, FolderTargets> m_counts;
    std::map<std::string, std::string> m_guesses;
};

} // namespace

Result<FoundRenames> findRenames(ObjectStore& store, SimilarityCache& cache, const RenameField& field,
                                 const RenameNeeds& needs, const RenameBounds& bounds, const Progress& progress)
{
    cache.trim();
    if (field.targets().empty() || field.sources().empty() || needs.sources.empty())
        return FoundRenames();
    Detection detection(store, cache, field, needs);
    detection.exact();
    if (detection.listOpen()) {
        if (auto done = detection.byBaseName(); !done)
            return std::unexpected(done.error());
        detection.leaveWhatIsKnown();
        if (auto done = detection.bySimilarity(bounds, progress); !done)
            return std::unexpected(done.error());
    }
    return detection.found();
}

} // namespace espalier

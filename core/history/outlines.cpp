// SPDX-License-Identifier: MIT
#include "core/history/outlines.h"

#include "core/git/overrides.h"

#include <algorithm>
#include <chrono>
#include <ranges>
#include <thread>

namespace espalier {

namespace {

std::uint64_t hashed(std::string_view path) { return std::hash<std::string_view>()(path); }

// What two equal changes have in common whatever the contents: paths, what comes and goes, modes that change.
std::uint64_t numberOf(const std::vector<PathChange>& changes)
{
    if (changes.empty())
        return noOutline;
    std::uint64_t sum = 0;
    for (const PathChange& change : changes) {
        std::uint64_t modes = std::uint64_t(change.before.mode) << 32 | std::uint64_t(change.after.mode);
        if (change.before.mode == change.after.mode)
            modes = 0; // git's patch ids leave an unchanged mode out
        for (const std::uint64_t part : {hashed(change.path), modes}) {
            sum = (sum ^ part) * 0x9E3779B97F4A7C15u;
            sum ^= sum >> 32;
        }
    }
    return sum | 1;
}

} // namespace

Result<Step> stepOf(QuickObjects& objects, const Oid& commit)
{
    Step step;
    if (objects.store().overrides().shallow.contains(commit)) {
        step.merge = true; // its parents were left behind: no change to speak of
        return step;
    }
    std::vector<Oid> parents, ignored;
    const auto tree = objects.commit(commit, parents);
    if (!tree)
        return std::unexpected(tree.error());
    step.newTree = *tree;
    step.merge = parents.size() > 1;
    if (parents.size() == 1) {
        const auto below = objects.commit(parents[0], ignored);
        if (!below && !objects.store().contains(parents[0])) {
            step.merge = true; // left behind meanwhile
            return step;
        }
        if (!below)
            return std::unexpected(below.error());
        step.oldTree = *below;
    }
    return step;
}

std::vector<KeptOutline> OutlineTable::worthKeeping(std::size_t least)
{
    const std::scoped_lock locked(m_lock);
    std::vector<KeptOutline> all;
    if (m_full - m_kept < least)
        return all;
    all.reserve(m_full);
    for (const auto& [commit, outline] : m_known)
        if (!outline.ruledOut)
            all.push_back({commit, outline.value});
    m_kept = m_full;
    return all;
}

void OutlineTable::add(std::span<const KeptOutline> outlines)
{
    const std::scoped_lock locked(m_lock);
    m_known.reserve(m_known.size() + outlines.size());
    for (const KeptOutline& kept : outlines) {
        if (!m_known.try_emplace(kept.commit, Outline{kept.outline, false}).second)
            continue;
        ++m_full;
        if (kept.outline != noOutline)
            m_having[kept.outline].push_back(kept.commit);
    }
    m_kept = m_full;
}

std::uint64_t Outlines::want(const std::vector<PathChange>& changes)
{
    for (const PathChange& change : changes)
        for (std::size_t end = change.path.find('/');; end = change.path.find('/', end + 1)) {
            m_paths.insert(hashed(std::string_view(change.path).substr(0, end)));
            if (end == change.path.npos)
                break;
        }
    return numberOf(changes);
}

auto Outlines::outlineOf(QuickObjects& objects, const Unread& unread) const -> Result<OutlineTable::Outline>
{
    const auto step = stepOf(objects, unread.commit);
    if (!step)
        return std::unexpected(step.error());
    if (step->merge)
        return OutlineTable::Outline();
    std::uint64_t ruledOutBy = 0;
    std::function<bool(const std::string&)> wanted;
    if (!unread.inFull)
        wanted = [&](const std::string& path) {
            const std::uint64_t hash = hashed(path);
            if (m_paths.contains(hash))
                return true;
            ruledOutBy = hash;
            return false;
        };
    const auto changes = treeChanges(objects, step->oldTree, step->newTree, wanted);
    if (!changes)
        return std::unexpected(changes.error());
    return *changes ? OutlineTable::Outline{numberOf(**changes), false} : OutlineTable::Outline{ruledOutBy, true};
}

auto Outlines::unreadOf(std::span<const Oid> commits) const -> std::vector<Unread>
{
    const std::scoped_lock locked(m_table.m_lock);
    std::vector<Unread> unread;
    const auto fresh = std::ranges::mismatch(commits, m_table.m_covered).in1;
    for (const Oid& commit : std::ranges::subrange(fresh, commits.end()))
        if (!m_table.m_known.contains(commit))
            unread.push_back({commit, m_habits.manyQuestions});
    // Some of them may be none of `commits`; there are few, and they are asked about in their turn.
    for (const std::uint64_t path : m_paths)
        if (const auto at = m_table.m_ruledOutBy.find(path); at != m_table.m_ruledOutBy.end())
            for (const Oid& commit : at->second)
                unread.push_back({commit, true});
    return unread;
}

void Outlines::keep(std::span<const Unread> commits, std::span<const OutlineTable::Outline> outlines)
{
    const std::scoped_lock locked(m_table.m_lock);
    for (const auto& [unread, outline] : std::views::zip(commits, outlines)) {
        const auto [at, isNew] = m_table.m_known.try_emplace(unread.commit, outline);
        // Another thread may have been quicker; what rules a commit out is replaced only by the whole.
        if (!isNew && (!at->second.ruledOut || outline.ruledOut))
            continue;
        at->second = outline;
        m_table.m_full += !outline.ruledOut;
        if (outline.ruledOut)
            m_table.m_ruledOutBy[outline.value].push_back(unread.commit);
        else if (outline.value != noOutline)
            m_table.m_having[outline.value].push_back(unread.commit);
    }
    for (const std::uint64_t path : m_paths)
        if (const auto at = m_table.m_ruledOutBy.find(path); at != m_table.m_ruledOutBy.end()) {
            std::erase_if(at->second, [&](const Oid& commit) { return !m_table.m_known[commit].ruledOut; });
            if (at->second.empty())
                m_table.m_ruledOutBy.erase(at);
        }
}

Result<void> Outlines::readPart(QuickObjects& objects, std::span<const Unread> commits,
                                std::span<OutlineTable::Outline> outlines, const Progress& progress, bool reports) const
{
    for (std::size_t i = 0; i < commits.size(); ++i) {
        if (i % 64 == 0 && progress.stopped())
            return cancelled();
        const auto outline = outlineOf(objects, commits[i]);
        if (!outline)
            return std::unexpected(outline.error());
        outlines[i] = *outline;
        if (reports && i % 1024 == 0)
            progress.report("Comparing changes", i, commits.size());
    }
    return {};
}

Result<void> Outlines::read(std::span<const Oid> commits, const Progress& progress)
{
    std::unique_lock reading(m_table.m_reading, std::defer_lock);
    if (m_habits.manyQuestions)
        while (!reading.try_lock()) {
            if (progress.stopped())
                return cancelled();
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
        }
    const std::vector<Unread> unread = unreadOf(commits);
    std::vector<OutlineTable::Outline> outlines(unread.size());
    const std::size_t cores =
        m_habits.threads > 0 ? m_habits.threads : std::clamp<std::size_t>(std::thread::hardware_concurrency(), 1, 16);
    // New objects in memory belong to the caller's store alone.
    const std::size_t parts =
        m_objects.store().newObjects().count() > 0 ? 1 : std::clamp<std::size_t>(unread.size() / 256, 1, cores);
    std::vector<Result<void>> results(parts);
    const auto part = [&](QuickObjects& objects, std::size_t i) {
        const std::size_t from = unread.size() * i / parts, count = unread.size() * (i + 1) / parts - from;
        return readPart(objects, std::span(unread).subspan(from, count), std::span(outlines).subspan(from, count),
                        progress, i == 0);
    };
    {
        std::vector<std::jthread> threads;
        for (std::size_t i = 1; i < parts; ++i)
            threads.emplace_back([&, i] {
                auto repository = Repository::open(m_objects.store().repository().path());
                if (!repository) {
                    results[i] = std::unexpected(repository.error());
                    return;
                }
                ObjectStore store(*repository);
                QuickObjects objects(store, m_files);
                results[i] = part(objects, i);
            });
        results[0] = part(m_objects, 0);
    }
    for (const auto& result : results)
        if (!result)
            return std::unexpected(result.error());
    if (!unread.empty())
        keep(unread, outlines);
    const std::scoped_lock locked(m_table.m_lock);
    if (const auto [asked, covered] = std::ranges::mismatch(commits, m_table.m_covered); asked != commits.end())
        m_table.m_covered.assign(commits.begin(), commits.end());
    return {};
}

std::vector<Oid> Outlines::having(std::uint64_t outline, std::span<const Oid> commits) const
{
    std::vector<Oid> found;
    if (outline == noOutline)
        return found;
    const std::scoped_lock locked(m_table.m_lock);
    const auto at = m_table.m_having.find(outline);
    if (at == m_table.m_having.end())
        return found;
    const std::unordered_set<Oid> known(at->second.begin(), at->second.end());
    if (known.size() == 1) {
        if (std::ranges::contains(commits, *known.begin()))
            found.push_back(*known.begin());
    } else {
        std::ranges::copy_if(commits, std::back_inserter(found),
                             [&](const Oid& commit) { return known.contains(commit); });
    }
    return found;
}

} // namespace espalier

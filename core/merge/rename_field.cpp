// SPDX-License-Identifier: MIT
#include "core/merge/hash_order.h"
#include "core/merge/renames.h"

#include <algorithm>

namespace espalier {

namespace {

const Oid emptyBlob = *Oid::parse(emptyBlobHex);

} // namespace

RenameField::RenameField(Departures departures) : m_departures(std::move(departures))
{
    const auto isEmpty = [](const File& file) { return file.second.id == emptyBlob; };
    std::erase_if(m_departures.deleted, isEmpty);
    std::erase_if(m_departures.added, isEmpty);
    // Sources of equal contents are chained, from the first on; most contents there are but once.
    constexpr Index none = ~Index(0);
    struct Chain {
        Index first, group = none;
    };
    std::unordered_map<Oid, Chain> chains(sources().size());
    std::vector<Index> next(sources().size(), none);
    for (Index i = Index(sources().size()); i-- > 0;) {
        const auto [at, isNew] = chains.try_emplace(sources()[i].second.id, Chain{i});
        if (!isNew)
            next[i] = std::exchange(at->second.first, i);
    }
    for (Index j = 0; j < targets().size(); ++j) {
        const auto same = chains.find(targets()[j].second.id);
        if (same == chains.end())
            continue;
        if (same->second.group == none) {
            same->second.group = Index(m_alike.size());
            Alike& alike = m_alike.emplace_back();
            for (Index i = same->second.first; i != none; i = next[i])
                alike.sources.push_back(i);
        }
        m_alike[same->second.group].targets.push_back(j);
    }
}

void FolderTargets::add(std::string_view folder, int count)
{
    auto at = std::ranges::find(m_targets, folder, &Target::folder);
    if (at == m_targets.end())
        at = m_targets.insert(m_targets.end(), {std::string(folder), 0});
    at->count += count;
}

bool FolderTargets::settled(int unknown) const
{
    int first = 0, second = 0;
    for (const Target& target : m_targets)
        if (target.count >= first)
            second = std::exchange(first, target.count);
        else
            second = std::max(second, target.count);
    return first > second + unknown;
}

const std::string& FolderTargets::most() const
{
    const auto best = std::ranges::max_element(m_targets, {}, &Target::count);
    if (std::ranges::count(m_targets, best->count, &Target::count) == 1)
        return best->folder;
    std::vector<std::string_view> names;
    for (const Target& target : m_targets)
        names.push_back(target.folder);
    for (const std::size_t i : hashOrder(names))
        if (m_targets[i].count == best->count)
            return m_targets[i].folder;
    return best->folder;
}

} // namespace espalier

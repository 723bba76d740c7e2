// SPDX-License-Identifier: MIT
#include "core/merge/traversal_order.h"

#include "core/tree/differences.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <unordered_set>

namespace espalier {

namespace {

std::string_view nameAt(std::string_view path, std::size_t start)
{
    return path.substr(start, std::min(path.find('/', start), path.size()) - start);
}

} // namespace

bool mayTurnRound(std::string_view before, std::string_view after)
{
    const auto at = std::size_t(std::ranges::mismatch(before, after).in2 - after.begin());
    return at < after.size() && at < before.size() && at > 0 && after[at] == '/';
}

Result<std::vector<std::string>> namesInOrder(ObjectStore& store, const std::array<Oid, 3>& trees)
{
    std::array<std::vector<std::string>, 3> names;
    for (std::size_t i = 0; i < 3; ++i) {
        const auto done = eachDifference(store, Oid{}, trees[i], [&](const TreeEntry*, const TreeEntry* is) {
            if (is)
                names[i].emplace_back(is->name);
        });
        if (!done)
            return std::unexpected(done.error());
    }
    std::vector<std::string> order;
    std::unordered_set<std::string_view> met;
    std::array<std::size_t, 3> at{};
    for (;;) {
        const std::string* first = nullptr;
        for (std::size_t i = 0; i < 3; ++i) {
            while (at[i] < names[i].size() && met.contains(names[i][at[i]]))
                ++at[i];
            if (at[i] < names[i].size() && (!first || names[i][at[i]] < *first))
                first = &names[i][at[i]];
        }
        if (!first)
            return order;
        met.insert(*first);
        order.push_back(*first);
    }
}

bool TraversalOrder::before(std::string_view a, std::string_view b)
{
    if (a == b || !(a < b ? mayTurnRound(a, b) : mayTurnRound(b, a)))
        return a < b;
    // What they have in common ends within a name of the folder they share.
    const auto common = std::size_t(std::ranges::mismatch(a, b).in1 - a.begin());
    const std::size_t slash = a.substr(0, common).rfind('/');
    const std::size_t start = slash == std::string_view::npos ? 0 : slash + 1;
    const Ranks& ranks = ranksIn(a.substr(0, start));
    const auto rankA = ranks.find(std::string(nameAt(a, start))), rankB = ranks.find(std::string(nameAt(b, start)));
    return rankA == ranks.end() || rankB == ranks.end() ? a < b : rankA->second < rankB->second;
}

const TraversalOrder::Ranks& TraversalOrder::ranksIn(std::string_view folder)
{
    const auto [at, isNew] = m_folders.try_emplace(std::string(folder));
    if (!isNew)
        return at->second;
    std::array<Oid, 3> trees;
    for (std::size_t i = 0; i < 3; ++i)
        if (!m_trees[i].isZero())
            if (const auto found = treeAt(m_store, m_trees[i], folder))
                trees[i] = *found;
    if (const auto names = namesInOrder(m_store, trees))
        for (const std::string& name : *names)
            at->second.emplace(name, at->second.size());
    return at->second;
}

} // namespace espalier

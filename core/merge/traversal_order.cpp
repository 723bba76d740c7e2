// SPDX-License-Identifier: MIT
#include "core/merge/traversal_order.h"

#include "core/tree/differences.h"
#include "core/tree/lookup.h"

#include <algorithm>
#include <set>
#include <unordered_set>

namespace espalier {

namespace {

std::string_view nameAt(std::string_view path, std::size_t start)
{
    return path.substr(start, std::min(path.find('/', start), path.size()) - start);
}

// Where the names begin by which two paths differ: the folder that they share ends there.
std::size_t differAt(std::string_view a, std::string_view b)
{
    const auto common = std::size_t(std::ranges::mismatch(a, b).in1 - a.begin());
    const std::size_t slash = a.substr(0, common).rfind('/');
    return slash == std::string_view::npos ? 0 : slash + 1;
}

// Whether the order of two names of a folder can be another one than that of their paths. `before`, `after`: two paths in order
// of their bytes.
bool mayTurnRound(std::string_view before, std::string_view after)
{
    const auto at = std::size_t(std::ranges::mismatch(before, after).in2 - after.begin());
    return at < after.size() && at < before.size() && at > 0 && after[at] == '/';
}

} // namespace

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
    const std::size_t start = differAt(a, b);
    const Ranks& ranks = ranksIn(a.substr(0, start));
    const auto rankA = ranks.find(std::string(nameAt(a, start))), rankB = ranks.find(std::string(nameAt(b, start)));
    return rankA == ranks.end() || rankB == ranks.end() ? a < b : rankA->second < rankB->second;
}

void TraversalOrder::sort(std::vector<std::uint32_t>& files,
                          const std::function<std::string_view(std::uint32_t file)>& pathOf)
{
    // What is in one folder stands in one piece, and at the same places until a folder above it is put in order.
    std::set<std::string_view> turned;
    for (std::size_t i = 1; i < files.size(); ++i) {
        const std::string_view a = pathOf(files[i - 1]), b = pathOf(files[i]);
        if (mayTurnRound(a, b))
            turned.insert(a.substr(0, differAt(a, b)));
    }
    struct Piece {
        std::size_t from, to;
    };
    std::vector<std::pair<std::size_t, Piece>> folders; // length of the folder's name, with the slash
    for (const std::string_view folder : turned) {
        const auto inside = std::ranges::equal_range(
            files, folder, {}, [&](std::uint32_t file) { return pathOf(file).substr(0, folder.size()); });
        folders.push_back(
            {folder.size(), {std::size_t(inside.begin() - files.begin()), std::size_t(inside.end() - files.begin())}});
    }
    std::ranges::stable_sort(folders, std::greater(), &std::pair<std::size_t, Piece>::first);
    for (const auto& [start, all] : folders) {
        std::vector<Piece> pieces;
        std::string_view name;
        for (std::size_t i = all.from; i < all.to; ++i) {
            const std::string_view next = nameAt(pathOf(files[i]), start);
            if (pieces.empty() || next != name)
                pieces.push_back({i, i});
            pieces.back().to = i + 1;
            name = next;
        }
        std::ranges::stable_sort(pieces, [&](const Piece& a, const Piece& b) {
            return before(pathOf(files[a.from]), pathOf(files[b.from]));
        });
        std::vector<std::uint32_t> ordered;
        ordered.reserve(all.to - all.from);
        for (const Piece& piece : pieces)
            ordered.insert(ordered.end(), files.begin() + std::ptrdiff_t(piece.from),
                           files.begin() + std::ptrdiff_t(piece.to));
        std::ranges::copy(ordered, files.begin() + std::ptrdiff_t(all.from));
    }
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

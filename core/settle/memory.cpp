// SPDX-License-Identifier: MIT
#include "core/settle/memory.h"

#include "core/settle/compose.h"
#include "core/settle/likeness.h"

#include <algorithm>
#include <set>

namespace espalier {

namespace {

// What is shorter, a brace or an empty return, stands everywhere and says nothing.
constexpr std::size_t shortestLine = 8;
// With other surroundings the newest of those that have a line in common are tried.
constexpr std::size_t mostTried = 40;

HunkSides viewOf(const SettledBefore::Sides& sides) { return {sides.ancestor, sides.newBase, sides.commit}; }
HunkSides swapped(const HunkSides& sides) { return {sides.ancestor, sides.commit, sides.newBase}; }

HunkDecision swapped(HunkDecision decision)
{
    switch (decision.choice) {
    case Choice::NewBase:
        decision.choice = Choice::YourCommit;
        break;
    case Choice::YourCommit:
        decision.choice = Choice::NewBase;
        break;
    case Choice::NewBaseFirst:
        decision.choice = Choice::YourCommitFirst;
        break;
    case Choice::YourCommitFirst:
        decision.choice = Choice::NewBaseFirst;
        break;
    default:
        break;
    }
    return decision;
}

std::string spacesKey(const HunkSides& sides)
{
    const std::string ancestor = withoutSpaces(sides.ancestor), newBase = withoutSpaces(sides.newBase),
                      commit = withoutSpaces(sides.commit);
    return textsOfHunk(ancestor, newBase, commit).hex();
}

std::vector<std::string> tellingLines(const HunkSides& sides)
{
    std::vector<std::string> lines;
    for (std::string_view side : {sides.newBase, sides.commit})
        while (!side.empty()) {
            const std::size_t end = std::min(side.find('\n'), side.size() - 1) + 1;
            std::string words = withoutSpaces(side.substr(0, end));
            if (words.size() > shortestLine)
                lines.push_back(std::move(words));
            side.remove_prefix(end);
        }
    std::ranges::sort(lines);
    lines.erase(std::unique(lines.begin(), lines.end()), lines.end());
    return lines;
}

} // namespace

Memory::Memory(std::vector<SettledBefore> settled) : m_settled(std::move(settled))
{
    std::ranges::reverse(m_settled); // of the same second the later one in the list is the newer
    std::ranges::stable_sort(m_settled, std::greater(), &SettledBefore::when);
    for (std::size_t i = 0; i < m_settled.size(); ++i) {
        if (!m_byName.try_emplace(m_settled[i].name, i).second || !m_settled[i].sides)
            continue;
        const HunkSides sides = viewOf(*m_settled[i].sides);
        m_bySpaces[spacesKey(sides)].push_back(i);
        for (std::string& line : tellingLines(sides))
            m_byLine[std::move(line)].push_back(i);
    }
}

Recalled Memory::recalled(std::size_t index, Likeness likeness, HunkDecision decision) const
{
    const SettledBefore& of = m_settled[index];
    Recalled found{std::move(decision),
                   likeness,
                   {of.name, std::nullopt, of.decision, of.path, of.branch, of.commit, of.subject, of.when}};
    return found;
}

std::optional<Recalled> Memory::byName(const HunkSides& hunk) const
{
    if (const auto at = m_byName.find(textsOfHunk(hunk.ancestor, hunk.newBase, hunk.commit)); at != m_byName.end())
        return recalled(at->second, Likeness::Same, m_settled[at->second].decision);
    if (const auto at = m_byName.find(textsOfHunk(hunk.ancestor, hunk.commit, hunk.newBase)); at != m_byName.end())
        return recalled(at->second, Likeness::Swapped, swapped(m_settled[at->second].decision));
    return std::nullopt;
}

std::optional<Recalled> Memory::bySpaces(const HunkSides& hunk) const
{
    std::optional<Recalled> found;
    std::string text;
    for (const bool turned : {false, true}) {
        const HunkSides now = turned ? swapped(hunk) : hunk;
        // Sides that differ in nothing but white space: what was chosen between them was the white space.
        if (withoutSpaces(now.newBase) == withoutSpaces(now.commit))
            return std::nullopt;
        const auto alike = m_bySpaces.find(spacesKey(now));
        if (alike == m_bySpaces.end())
            continue;
        for (const std::size_t i : alike->second) {
            const SettledBefore& was = m_settled[i];
            HunkDecision decision = was.decision;
            if (decision.choice == Choice::Typed) {
                auto fitted = inOtherSpaces(viewOf(*was.sides), decision.text, now);
                if (!fitted)
                    return std::nullopt;
                decision.text = std::move(*fitted);
            }
            const std::string gives = withoutSpaces(hunkBytes(now.newBase, now.commit, decision));
            if (found && gives != text)
                return std::nullopt;
            if (!found)
                found = recalled(i, Likeness::Spaces, turned ? swapped(decision) : decision);
            text = gives;
        }
    }
    return found;
}

std::optional<Recalled> Memory::bySurroundings(const HunkSides& hunk) const
{
    std::set<std::size_t> alike; // newest first
    for (const std::string& line : tellingLines(hunk))
        if (const auto at = m_byLine.find(line); at != m_byLine.end())
            alike.insert(at->second.begin(), at->second.end());
    std::optional<Recalled> found;
    std::string text;
    std::size_t tried = 0;
    for (const std::size_t i : alike) {
        if (++tried > mostTried)
            break;
        const SettledBefore& was = m_settled[i];
        const HunkSides sides = viewOf(*was.sides);
        for (const bool turned : {false, true}) {
            const HunkSides now = turned ? swapped(hunk) : hunk;
            const auto fitted = withOtherSurroundings(sides, hunkBytes(sides.newBase, sides.commit, was.decision), now);
            if (!fitted)
                continue;
            if (found && *fitted != text)
                return std::nullopt;
            if (!found)
                found = recalled(i, Likeness::Surroundings, decisionGiving(hunk.newBase, hunk.commit, *fitted));
            text = *fitted;
        }
    }
    return found;
}

std::optional<Recalled> Memory::recall(const HunkSides& hunk) const
{
    auto found = byName(hunk);
    if (!found)
        found = bySpaces(hunk);
    if (!found)
        found = bySurroundings(hunk);
    return found;
}

} // namespace espalier

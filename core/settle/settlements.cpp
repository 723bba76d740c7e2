// SPDX-License-Identifier: MIT
#include "core/settle/settlements.h"

#include <algorithm>
#include <array>

namespace espalier {

namespace {

constexpr std::array<std::pair<Choice, std::string_view>, 6> choiceNames{{
    {Choice::Undecided, "undecided"},
    {Choice::NewBase, "new-base"},
    {Choice::YourCommit, "your-commit"},
    {Choice::NewBaseFirst, "new-base-first"},
    {Choice::YourCommitFirst, "your-commit-first"},
    {Choice::Typed, "typed"},
}};

} // namespace

std::string_view choiceName(Choice choice)
{
    const auto at = std::ranges::find(choiceNames, choice, &decltype(choiceNames)::value_type::first);
    return at == choiceNames.end() ? std::string_view() : at->second;
}

std::optional<Choice> choiceFromName(std::string_view name)
{
    const auto at = std::ranges::find(choiceNames, name, &decltype(choiceNames)::value_type::second);
    if (at == choiceNames.end()) return std::nullopt;
    return at->first;
}

bool FileSettlement::decided() const
{
    if (wholeText) return true;
    return !hunks.empty() &&
           std::ranges::none_of(hunks, [](const HunkDecision& hunk) { return hunk.choice == Choice::Undecided; });
}

const FileSettlement* Settlements::find(const SettlementKey& key) const
{
    const auto at = m_files.find(key);
    return at == m_files.end() ? nullptr : &at->second;
}

Settlements Settlements::with(const SettlementKey& key, FileSettlement settlement) const
{
    Settlements next = *this;
    next.m_files.insert_or_assign(key, std::move(settlement));
    return next;
}

Settlements Settlements::without(const SettlementKey& key) const
{
    Settlements next = *this;
    next.m_files.erase(key);
    return next;
}

Settlements Settlements::withDefault(Choice choice) const
{
    Settlements next = *this;
    if (choice == Choice::Undecided || choice == Choice::Typed)
        next.m_default.reset(); // neither says anything about a hunk that has not been seen
    else
        next.m_default = choice;
    return next;
}

} // namespace espalier

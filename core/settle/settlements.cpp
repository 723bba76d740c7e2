// SPDX-License-Identifier: MIT
#include "core/settle/settlements.h"

#include "core/git/objects.h"

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
    if (at == choiceNames.end())
        return std::nullopt;
    return at->first;
}

bool FileSettlement::decided() const
{
    if (wholeText)
        return true;
    return !hunks.empty() &&
           std::ranges::none_of(hunks, [](const HunkDecision& hunk) { return hunk.choice == Choice::Undecided; });
}

bool FileSettlement::touched() const
{
    return wholeText ||
           std::ranges::any_of(hunks, [](const HunkDecision& hunk) { return hunk.choice != Choice::Undecided; });
}

bool FileSettlement::madeFor(const FileSettlement& inputs) const
{
    return ancestor == inputs.ancestor && newBase == inputs.newBase && commit == inputs.commit &&
           hunks.size() == inputs.hunks.size();
}

Oid textsOfHunk(std::string_view ancestor, std::string_view newBase, std::string_view commit)
{
    // Lengths in front: no two triples of texts read the same.
    std::string bytes;
    for (const std::string_view text : {ancestor, newBase, commit}) {
        bytes += std::to_string(text.size()) + ':';
        bytes += text;
    }
    return hashObject(ObjectType::Blob, bytes);
}

FileSettlement stillHolding(const FileSettlement* kept, FileSettlement fresh)
{
    if (!kept)
        return fresh;
    if (kept->madeFor(fresh))
        return *kept;
    // Hunks keep their order, so each is looked for behind the one found before: two that read alike stay two.
    std::size_t from = 0;
    const std::size_t known = std::min(kept->hunks.size(), kept->hunkTexts.size());
    for (std::size_t i = 0; i < std::min(fresh.hunks.size(), fresh.hunkTexts.size()); ++i)
        for (std::size_t j = from; j < known; ++j)
            if (kept->hunkTexts[j] == fresh.hunkTexts[i]) {
                fresh.hunks[i] = kept->hunks[j];
                from = j + 1;
                break;
            }
    return fresh;
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

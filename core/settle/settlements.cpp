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

bool isOpen(const SettledPiece& piece)
{
    if (const auto* hunk = std::get_if<SettledHunk>(&piece))
        return hunk->decision.choice == Choice::Undecided;
    return std::get<SettledStretch>(piece).waiting.has_value();
}

std::size_t FileSettlement::hunkCount() const
{
    return pieces.size() == 1 ? std::size_t(std::holds_alternative<SettledHunk>(pieces[0])) : pieces.size() / 2;
}

const HunkDecision& FileSettlement::decision(std::size_t hunk) const
{
    return std::get<SettledHunk>(pieces[pieceOfHunk(hunk)]).decision;
}

void FileSettlement::decide(std::size_t hunk, HunkDecision decision)
{
    std::get<SettledHunk>(pieces[pieceOfHunk(hunk)]).decision = std::move(decision);
}

std::size_t FileSettlement::questions() const
{
    return std::size_t(std::ranges::count_if(
               pieces,
               [](const SettledPiece& piece) { return std::holds_alternative<SettledHunk>(piece) || isOpen(piece); })) +
           std::size_t(form.any());
}

std::size_t FileSettlement::undecided() const { return std::size_t(std::ranges::count_if(pieces, isOpen)); }

bool FileSettlement::decided() const { return !pieces.empty() && undecided() == 0; }

bool FileSettlement::touched() const
{
    return std::ranges::any_of(pieces, [](const SettledPiece& piece) {
        if (const auto* stretch = std::get_if<SettledStretch>(&piece))
            return stretch->edit || stretch->waiting;
        return !isOpen(piece);
    });
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

FileSettlement undecidedPath(const ThreeBlobs& blobs) { return {blobs, {SettledHunk{}}}; }

FileSettlement undecidedText(const ThreeBlobs& blobs, std::span<const Segment> segments)
{
    FileSettlement fresh{blobs};
    for (const Segment& segment : segments) {
        if (segment.conflict)
            fresh.pieces.emplace_back(
                SettledHunk{textsOfHunk(segment.ancestor, segment.newBase, segment.commit), HunkDecision{}});
        else
            fresh.pieces.emplace_back(SettledStretch{});
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

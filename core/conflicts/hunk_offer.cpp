// SPDX-License-Identifier: MIT
#include "core/conflicts/hunk_offer.h"

#include "core/git/text.h"
#include "core/settle/compose.h"

namespace espalier {

namespace {

std::string with(const HunkDecision& decision)
{
    switch (decision.choice) {
    case Choice::NewBase:
        return "with the new base's text";
    case Choice::YourCommit:
        return "with your commit's text";
    case Choice::NewBaseFirst:
        return "with both, the new base's first";
    case Choice::YourCommitFirst:
        return "with both, yours first";
    default:
        return decision.text.empty() ? "by leaving all of it out" : "with a text of your own";
    }
}

std::string difference(Likeness likeness)
{
    switch (likeness) {
    case Likeness::Same:
        return {};
    case Likeness::Swapped:
        return "; the sides stood the other way round";
    case Likeness::Spaces:
        return "; the white space was another";
    case Likeness::Surroundings:
        return "; other lines stood around it";
    }
    return {};
}

std::string reasonOf(const Recalled& found)
{
    std::string words = "Settled before";
    if (!found.before.branch.empty())
        words += " on " + displayText(found.before.branch, 60);
    if (!found.before.subject.empty())
        words += ", in “" + displayText(found.before.subject, 80) + "”";
    return words + ", " + with(found.decision) + difference(found.likeness);
}

} // namespace

std::string_view sourceName(HunkOffer::Source source)
{
    return source == HunkOffer::Before ? "memory" : source == HunkOffer::GitBefore ? "git" : "proposal";
}

std::optional<HunkOffer> rememberedOffer(const Memory& memory, const std::optional<GitResolutions::Found>& git,
                                         const ConflictHunk& hunk, std::size_t at)
{
    if (const auto found = memory.recall({hunk.ancestorText, hunk.newBaseText, hunk.commitText}))
        return HunkOffer{HunkOffer::Before,  found->decision,    reasonOf(*found),
                         found->before.when, found->before.name, found->likeness};
    if (!git || at >= git->hunks.size() || !git->hunks[at])
        return std::nullopt;
    HunkDecision decision = decisionGiving(hunk.newBaseText, hunk.commitText, *git->hunks[at], hunk.lineEnd);
    std::string reason = "Settled before with git, which recorded it (rerere), " + with(decision);
    return HunkOffer{HunkOffer::GitBefore, std::move(decision), std::move(reason), git->when, {}, Likeness::Same};
}

} // namespace espalier

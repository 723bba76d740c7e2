// SPDX-License-Identifier: MIT
//
// A decision that is offered for a hunk and never taken unasked: what was settled for it before, here or with git, or what
// is proposed for it. Says where it comes from; taken, it is a decision like any other.
//
//     if (const auto offer = rememberedOffer(memory, git, hunk, at))
//         settlement.decide(at, offer->decision);
#pragma once

#include "core/conflicts/conflict_text.h"
#include "core/conflicts/git_resolutions.h"
#include "core/settle/memory.h"

#include <optional>
#include <string>

namespace espalier {

struct HunkOffer {
    enum Source : std::uint8_t {
        Before,    // settled before in this program
        GitBefore, // a resolution that git has recorded
        Proposed,  // by the record of how others were settled
    } source = Before;
    HunkDecision decision;
    // Why, for people, one line: "Settled before on topic/x, in “Draw the tides”, with the new base's text". When that was
    // stands in `when`.
    std::string reason;
    std::int64_t when = 0;              // seconds since 1970; 0: not known
    Oid name;                           // of what is remembered, to be forgotten by; zero where nothing is
    Likeness likeness = Likeness::Same; // of the hunk that was settled before to this one
    friend bool operator==(const HunkOffer&, const HunkOffer&) = default;
};
std::string_view sourceName(HunkOffer::Source source); // "memory", "git", "proposal"

// What the memory says of a hunk, else git.
std::optional<HunkOffer> rememberedOffer(const Memory& memory, const std::optional<GitResolutions::Found>& git,
                                         const ConflictHunk& hunk, std::size_t at);

} // namespace espalier

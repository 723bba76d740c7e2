// SPDX-License-Identifier: MIT
//
// What of a settlement holds when its conflict is met again: an earlier decision, or an edit of the replay, may have
// changed what meets there. Decisions go to hunks that are the same still, edits to where their text went; an edit that
// fits nowhere is kept and must be looked at again.
//
//     FileSettlement holds = stillHolding(kept, undecidedText(blobs, segments), segments);
#pragma once

#include "core/settle/settlements.h"

namespace espalier {

// `kept` may be null: nothing was decided. `fresh` is the conflict's undecided settlement, made of `segments`, which are
// empty for a whole path. Never leaves an edit of `kept` out unless the merge has the same text by now.
FileSettlement stillHolding(const FileSettlement* kept, FileSettlement fresh, std::span<const Segment> segments);

// The user's answer to an edit that fits no longer (isOpen() of `pieces[piece]`): its text is put in the place where it
// was, or the merge's text stays. A piece that asks nothing is left as it is.
FileSettlement withEditAnswered(FileSettlement settlement, std::span<const Segment> segments, std::size_t piece,
                                bool putBack);

} // namespace espalier

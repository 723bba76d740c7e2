// SPDX-License-Identifier: MIT
//
// The points between which a change may be stopped by a power cut, in order. Tests set a callback that ends the process
// there and then look at what recover() makes of it. Nothing else uses it.
//
//     setApplyStepCallback([](ApplyStep step) { if (step == ApplyStep::Locked) _exit(1); });
#pragma once

#include <cstdint>
#include <functional>

namespace espalier {

enum class ApplyStep : std::uint8_t {
    Checked, // all checks said yes, nothing written
    ObjectsWritten,
    TipsKept, // the kept refs stand, the entry does not
    EntryBegun,
    Locked,        // index and refs are locked against other programs
    PathsChecked,  // nothing is in the way in the worktree, looked at under the locks
    FileMoved,     // once a file of the worktree
    WorktreeMoved, // all files are in place, the index is not
    IndexMoved,
    RefsDeleted, // only where a ref must go before another can take its place
    PartMoved,   // some refs have moved, HEAD or a deletion is still to come
    RefsMoved,
    ConfigMoved,
    Done,
};
inline constexpr ApplyStep lastApplyStep = ApplyStep::Done;

// Not thread-safe; an empty function takes the callback away.
void setApplyStepCallback(std::function<void(ApplyStep)> callback);
void passApplyStep(ApplyStep step);

} // namespace espalier

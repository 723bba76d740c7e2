// SPDX-License-Identifier: MIT
//
// A change to branches, HEAD and worktree, carried out in the order of DEVELOPERS.md, "Apply". apply(), restore() and the
// branch functions all say what they want as a Change. Private to core/keep.
//
//     Change change{.kind = EntryKind::Branch, .title = "Delete topic/x", .moves = {{"refs/heads/topic/x", tip, {}}}};
//     return carryOut(repository, change, progress);
#pragma once

#include "core/keep/apply.h"
#include "core/keep/recover.h"
#include "core/refs/head.h"

#include <memory>
#include <string>
#include <vector>

namespace espalier {

struct Change {
    EntryKind kind = EntryKind::Branch;
    std::string title = {};
    std::vector<RefMove> moves = {}; // never HEAD
    std::vector<std::pair<Oid, Oid>> pairs = {};
    std::shared_ptr<const NewObjects> objects = {};
    std::string newHead = {};     // full ref or id to be checked out; empty: what is checked out stays
    std::string takesBack = {};   // the entry that this one restores
    std::string replaysOnto = {}; // what the pre-rebase hook is told; empty: it is not asked
    bool rewrites = false;        // commits were rewritten: post-rewrite hook, notes
    bool sign = false;            // sign the new commits first
    bool record = true;           // false: nothing can be lost, so the entry goes when all is done
};

Result<Applied> carryOut(const Repository& repository, Change change, const Progress& progress);

// What carryOut() does after the refs moved: settings of renamed and deleted branches, the entry taken back, state Done. The
// entry stays open where something follows (aftermath.h). Every part may be repeated.
Result<void> finishEntry(const Repository& repository, const LogbookEntry& entry);

// Completes or undoes an entry that was left Begun; the caller holds the ChangeLock. `lines` get what was done.
Result<EntryState> resolveBegun(const Repository& repository, const LogbookEntry& entry,
                                std::vector<std::string>& lines);
// The same for every entry that is open; the caller holds the ChangeLock. Pushes are only spoken of, and only when
// `pushesToo`.
Resolved resolveAll(const Repository& repository, bool pushesToo);

// `moves` without HEAD, which stands among an entry's moves only so that its old commit is kept.
std::vector<RefMove> branchMoves(const LogbookEntry& entry);

} // namespace espalier

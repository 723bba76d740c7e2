// SPDX-License-Identifier: MIT
//
// What is left open by a conflict while the dry run goes on. An open hunk is held in the file as if it had been settled
// with "Keep your commit": later commits of the topic were written on top of that text, so they meet no conflict that
// is not one of their own; and the lines it takes are followed through them, so that whoever touches them is told to
// depend on the settlement. Private to core/replay.
//
//     Result<Settled> settled = settle(store, commit, merge, settlements, held, index);
#pragma once

#include "core/replay/dry_run.h"

#include <map>
#include <string>
#include <vector>

namespace espalier {

struct HeldRegion {
    LineRange lines;       // in the file as held
    bool whole = false;    // the whole path
    std::size_t owner = 0; // index of the commit whose settlement is open
};
using Held = std::map<std::string, std::vector<HeldRegion>>; // by path

// A merge after the user's decisions.
struct Settled {
    Oid tree; // open hunks and paths are held in it
    std::vector<Conflict> conflicts;
    Held held;                          // what is open in `tree`, from before and from this commit
    std::vector<std::size_t> dependsOn; // owners of the regions of `before` that the commit touches
    bool open() const;                  // something of this commit is undecided
};

// `commit` names the settlements; `parentTree` and `commitTree` are the change that was merged; `index` owns what stays
// open. `before` is what is open in the tree merged onto.
struct SettleInput {
    Oid commit;
    Oid parentTree, newBaseTree, commitTree;
    std::size_t index = 0;
    bool ownChange = false; // see Conflict::ownChange
};
Result<Settled> settle(ObjectStore& store, const SettleInput& input, const TreeMerge& merge,
                       const Settlements& settlements, const Held& before);

} // namespace espalier

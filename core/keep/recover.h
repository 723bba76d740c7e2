// SPDX-License-Identifier: MIT
//
// Changes that were stopped half way, by a crash or a full disk: completed, undone, or told.
//
//     auto resolved = resolveOpenEntries(repository);
//     for (const HalfDone& open : resolved->halfDone)
//         std::cerr << open.line() << '\n';
#pragma once

#include "core/keep/logbook.h"

#include <string>
#include <vector>

namespace espalier {

// An entry that is still begun.
struct HalfDone {
    std::string entry, title; // no id of an entry: something else that an interruption left
    Error why;                // why it cannot be finished now
    std::string line() const; // what is half done, why, and what to do
};

struct Resolved {
    std::vector<std::string> lines; // what was completed, undone, cleared away
    std::vector<HalfDone> halfDone; // oldest first; one that cannot be finished does not keep others from it
};

// Completes or undoes every entry that was left Begun. Nothing happens while another window or command is at work: then
// nothing was interrupted. Errors: Storage (the lock cannot be taken), with what is open named.
// The hooks that follow what was done and never came to them run too.
Result<Resolved> resolveOpenEntries(const Repository& repository, const Progress& progress = {});

// The same without changing a byte: what is open now and nobody is working on, a line each.
std::vector<std::string> openEntryLines(const Repository& repository);

} // namespace espalier

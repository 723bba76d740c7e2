// SPDX-License-Identifier: MIT
//
// Taking an entry of the logbook back, of the clone or of a remote, also where a branch moved since: then what the branch
// would lose is named first, and goes only when that is what was agreed to. It is kept by the new entry in any case.
//
//     Result<std::vector<MovedBranch>> moved = movedSince(repository, entry, access, progress);   // empty: nothing moved
//     Result<std::string> title = takeBack(repository, entry, *moved, access, progress);
#pragma once

#include "core/keep/logbook.h"
#include "core/remotes/access.h"

#include <string>
#include <vector>

namespace espalier {

struct LostCommit {
    Oid id;
    std::string subject, author; // UTF-8
};

// A branch that no longer stands where an entry left it.
struct MovedBranch {
    std::string name;               // full name, on the remote for an entry about one
    Oid now;                        // zero: it is gone
    std::size_t count = 0;          // commits that no other branch or tag reaches, and the old tip neither
    std::vector<LostCommit> newest; // the first of them, newest first
};

// Fetches first for an entry about a remote. Errors: as fetchRemote and the reading of objects.
Result<std::vector<MovedBranch>> movedSince(const Repository& repository, const LogbookEntry& entry,
                                            const Access& access = {}, const Progress& progress = {});

// Refused when a branch stands neither where the entry left it nor where `agreed` saw it. Returns the new entry's title.
Result<std::string> takeBack(const Repository& repository, const LogbookEntry& entry,
                             const std::vector<MovedBranch>& agreed = {}, const Access& access = {},
                             const Progress& progress = {});

} // namespace espalier

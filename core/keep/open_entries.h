// SPDX-License-Identifier: MIT
//
// Entries that are not through: beside each stands a file `<id>.open`, the mark, made before anything else and removed last,
// so that a start need not read the whole logbook to find them. Its process holds it (flock) from the moment at which the
// entry is done and only hooks follow. Private to core/keep and core/remotes.
#pragma once

#include "core/git/hooks.h"
#include "core/git/spawn.h"
#include "core/keep/logbook.h"
#include "core/keep/storage.h"

#include <filesystem>
#include <string>
#include <vector>

namespace espalier {

std::filesystem::path logbookFolder(const Repository& repository);
std::filesystem::path openMark(const Repository& repository, const std::string& id);

// Stands while an entry is let go.
std::filesystem::path forgetMark(const Repository& repository, const std::string& id);
std::vector<std::string> forgottenIds(const Repository& repository);

// Oldest first; ids for which there may be no entry yet.
std::vector<std::string> openEntryIds(const Repository& repository);
// Entries that were begun since `when` (seconds since 1970), open or not; oldest first.
std::vector<std::string> entryIdsSince(const Repository& repository, std::int64_t when);
// Whether there is a mark at all, and whether some process holds it.
bool isOpen(const Repository& repository, const std::string& id);
Result<Fd> holdMark(const Repository& repository, const std::string& id);
// The entry is through: removes the refs that kept the new tips until now, and the mark. Errors: Storage; the next start does it
// then.
Result<void> closeEntry(const Repository& repository, const std::string& id);

// The refs below refs/espalier/kept/<id>/ that an entry makes: of the old tips; `coming`: of the tips that are about to be moved to,
// which are gone when the entry is through. The hook reference-transaction is asked about the former by whoever begins the entry,
// with what else moves; until it has agreed they go as if they had not been.
std::vector<RefMove> keptMoves(const LogbookEntry& entry, bool coming = false);
// Writes them, before anything is moved; `coming`: those too, so that no gc takes new commits for rubbish. Durable. Errors: Storage.
Result<void> writeKeptRefs(const Repository& repository, const LogbookEntry& entry, bool coming);
// The hook reference-transaction, asked whether an entry's kept refs may go. Errors: Refused when it says no.
Result<RefTransactionHook> askToDrop(const Repository& repository, const std::string& id);
// Removes the refs that keep the old tips of some entries, and what a crash has left of their making. Errors: Storage.
Result<void> dropKeptRefs(const Repository& repository, const std::vector<std::string>& ids);

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// An entry of the logbook as the text of its file. JSON; bytes that are not UTF-8 are kept as {"bytes": hex}. Private to core/keep
// and core/remotes.
#pragma once

#include "core/keep/logbook.h"

#include <string>
#include <string_view>

namespace espalier {

// No entry's file is larger; what would be is refused before anything is written.
inline constexpr std::size_t maxEntryBytes = std::size_t(16) << 20;

std::string formatEntry(const LogbookEntry& entry);
// Errors: Broken, also when the file holds another entry than `id`.
Result<LogbookEntry> parseEntry(std::string_view text, const std::string& id);

// "20261125-104205-1", nothing else: ids become file and ref names.
bool isEntryId(std::string_view id);
// The first two parts of an id: "20261125-104205", in UTC. `when` in seconds since 1970.
std::string entryTime(std::int64_t when);
// By time, then by number.
bool isOlderEntry(std::string_view a, std::string_view b);

} // namespace espalier

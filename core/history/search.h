// SPDX-License-Identifier: MIT
//
// Finding commits: by words of the message, person, path, id, date and place.
//
//     SearchQuery query = parseSearch("metres person:mira path:core since:2024-01-31 in:fork").value();
//     std::vector<Row> rows = search(repository, *snapshot, query, progress).value();
#pragma once

#include "core/history/snapshot.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// All that is set must hold. Letters are compared without case (ASCII).
struct SearchQuery {
    std::vector<std::string> words;           // each in the message, or the beginning of the id
    std::string person;                       // in author's or committer's name or address
    std::string path;                         // the commit changes this file or something in this folder
    std::string id;                           // the id's first digits
    std::optional<std::int64_t> since, until; // committer's time, seconds since 1970; until is exclusive
    std::optional<Place> place;               // a branch of that place reaches the commit
    bool empty() const
    {
        return words.empty() && person.empty() && path.empty() && id.empty() && !since && !until && !place;
    }
};

// Words, and `person:`, `path:`, `id:`, `since:YYYY-MM-DD`, `until:YYYY-MM-DD` (that day included), `in:upstream|fork|clone`;
// double quotes hold words together. Errors: Usage for a date, a place or an id that is none.
Result<SearchQuery> parseSearch(std::string_view text);

// The rows that match, newest first. Errors: Cancelled. A commit that cannot be read does not match.
Result<std::vector<Row>> search(const Repository& repository, const Snapshot& snapshot, const SearchQuery& query,
                                const Progress& progress = {});

} // namespace espalier

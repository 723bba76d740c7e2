// SPDX-License-Identifier: MIT
//
// The inside of History, and what fills it. Private to core/history.
#pragma once

#include "core/git/overrides.h"
#include "core/history/history.h"

#include <functional>

namespace espalier {

struct History::Data {
    std::vector<Oid> ids;
    std::vector<std::int64_t> times;
    std::vector<std::uint32_t> parentStart{0}; // one more than rows
    std::vector<Row> parents;
    std::vector<Row> byId;             // rows sorted by id
    std::vector<std::uint32_t> fanout; // where the ids that begin with these bits start in byId
    int fanoutBits = 0;                // 8 or 16
    std::vector<Row> boundaries;       // sorted, as the next two
    std::vector<Row> grafted, replaced;
    std::vector<std::string> notices;
    std::string overrides; // what reload() must find unchanged to take the rows over

    std::span<const Row> parentsOf(Row row) const
    {
        return std::span(parents).subspan(parentStart[row], parentStart[row + 1] - parentStart[row]);
    }
    // The part of byId with ids that begin as `id` does, as far as the fan-out knows.
    std::span<const Row> candidates(const Oid& id) const;
    void makeFanout();
    Row find(const Oid& id) const;
    void findAltered(const Overrides& found);
};

// Loads a table. `tips` may be of any kind: a tag is followed to its commit.
class HistoryBuilder {
  public:
    struct Loaded {
        History history;
        // By tip: its row, noRow for what is no commit; `missing` holds the indices of tips that do not exist.
        std::vector<Row> rows;
        std::vector<std::size_t> missing;
    };
    // How many rows `first` gets.
    static constexpr std::size_t firstRows = 600;
    // `previous` may be null. Without it `first`, when given, gets the newest rows before the rest is read, if there are
    // more (see first_rows.h); tips below them have no row.
    // Errors: Broken (a parent is missing, an object is damaged), Cancelled.
    static Result<Loaded> load(const Repository& repository, std::span<const Oid> tips, const History* previous,
                               const Progress& progress, const std::function<void(Loaded)>& first = {});
    // A table out of rows that are known: `parentStart` has one entry more than there are rows, parents are further down
    // than their children. For shapes without a repository (benchmarks, tests).
    static History fromRows(std::vector<Oid> ids, std::vector<std::int64_t> times,
                            std::vector<std::uint32_t> parentStart, std::vector<Row> parents);
};

} // namespace espalier

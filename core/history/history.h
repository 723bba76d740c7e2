// SPDX-License-Identifier: MIT
//
// The table of every commit that the refs reach, as structure of arrays. Rows are in display order: newest first, every
// commit above its parents (the order of `rev-list --topo-order`'s rule with commit time as the tie break). A row number is
// therefore all that lanes, drift and the views need to talk about a commit.
//
//     for (Row row = 0; row < history.size(); ++row)
//         for (Row parent : history.parents(row))   // parent > row
//             …
#pragma once

#include "core/git/error.h"
#include "core/git/oid.h"
#include "core/git/progress.h"
#include "core/git/repository.h"

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace espalier {

using Row = std::uint32_t;
inline constexpr Row noRow = 0xFFFFFFFF;

class History {
  public:
    // Everything that `tips` reach. Reads the commit-graph file or chain where there is one (`commonDir()/objects/info`),
    // raw objects by all cores for what it lacks. Shallow boundaries and replacements are honoured as git does; a damaged
    // commit-graph is not used and leaves a line in notices(). Ids in `tips` that are missing: Broken.
    static Result<History> load(const Repository& repository, std::span<const Oid> tips, const Progress& progress = {});
    // The same, taking over what `previous` already knows (same repository); costs what changed plus copies.
    static Result<History> reload(const Repository& repository, std::span<const Oid> tips, const History& previous,
                                  const Progress& progress = {});

    History();
    ~History();
    History(History&&) noexcept;
    History& operator=(History&&) noexcept;

    Row size() const;
    const Oid& id(Row row) const;
    // Rows below `row`, in the commit's order. Empty for a root and for a shallow boundary.
    std::span<const Row> parents(Row row) const;
    // Committer's time in seconds since 1970.
    std::int64_t time(Row row) const;
    // noRow when the commit is not in the table.
    Row find(const Oid& id) const;
    // The rows whose id begins with these hexadecimal digits, at most `limit`.
    std::vector<Row> findPrefix(std::string_view hexPrefix, std::size_t limit) const;
    // Parents exist but are not in the repository (shallow clone).
    bool isBoundary(Row row) const;
    // It has other parents than it was made with (info/grafts); another commit stands in for it (refs/replace).
    bool isGrafted(Row row) const;
    bool isReplaced(Row row) const;

    // Memory of the table in bytes, for the benchmark.
    std::size_t bytes() const;
    // Lines about what was found odd: a damaged commit-graph, replaced commits, a shallow boundary.
    const std::vector<std::string>& notices() const;
    // Which parents are not the commits' own: Overrides::fingerprint as it was when this was loaded.
    const std::string& overrides() const;

    // Questions on the graph. Times in the number of commits that must be looked at, not in the size of the table.
    // The best common ancestors (none for unrelated histories).
    std::vector<Row> mergeBases(Row a, Row b) const;
    bool isAncestor(Row ancestor, Row descendant) const;
    // Rows that `of` reaches and `without` does not, newest first.
    std::vector<Row> onlyIn(Row of, Row without) const;
    std::vector<Row> onlyIn(std::span<const Row> of, std::span<const Row> without) const;

  private:
    struct Data;
    std::shared_ptr<const Data> m_data;
    friend class HistoryBuilder;
};

} // namespace espalier

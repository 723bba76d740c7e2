// SPDX-License-Identifier: MIT
//
// What a walk over history needs of commits (parents, time), read once and kept: from the commit-graph file where there
// is one, else from raw objects. Unlike History it reads only what is asked for, which is what a batch of tips wants.
//
//     CommitTable table(repository);
//     Result<Divergence> ways = table.divergence(store, tip, onto);
//     ways->mergeBases; ways->onlyLeft;
#pragma once

#include "core/git/objects.h"

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <vector>

namespace espalier {

class History;

// How two commits stand to each other.
struct Divergence {
    std::vector<Oid> mergeBases;          // the best common ancestors, newest first; the first is what git names
    std::vector<Oid> onlyLeft, onlyRight; // what only one of them reaches, newest first
};

// What a topic has that its new base does not reach, and where the two meet: a divergence's mergeBases and onlyLeft.
struct OwnCommits {
    std::vector<Oid> mergeBases, commits;
};

// What a new base has that a topic does not reach; valid until the table is asked something else.
struct OtherCommits {
    std::span<const Oid> commits;                // and, when `reached` is there, some that the topic does reach
    std::function<bool(const Oid& one)> reached; // whether one of `commits` is such; may be empty
};

class CommitTable {
  public:
    // `limit` commits are kept; when there are more, everything is forgotten before the next question. `known`, which must
    // outlive the table, is asked before a commit is read; may be null.
    explicit CommitTable(const Repository& repository, std::size_t limit = 1'500'000, const History* known = nullptr);
    ~CommitTable();
    CommitTable(CommitTable&&) noexcept;

    // Source of the walk: git's paint_down_to_common as its documentation describes it. Time and memory go with the
    // number of commits younger than the merge base. A zero `right` reaches nothing. Where clocks are wrong by more than
    // a side is old, commits of both can be taken for its own, as by git's rev-list.
    // Errors: Broken (a commit is missing), Cancelled.
    Result<Divergence> divergence(ObjectStore& store, const Oid& left, const Oid& right, const Progress& progress = {});
    // One half of divergence(tip, onto). The walk from `onto` is kept and taken up again for the next tip: many topics
    // on one new base cost one walk to the oldest merge base together.
    Result<OwnCommits> ownCommits(ObjectStore& store, const Oid& tip, const Oid& onto, const Progress& progress = {});
    // The other half: what `onto` reaches and `tip` does not. What is higher on the line of first parents, or hangs there, comes
    // first, of equals the newest, so that the answer for one tip begins with that for another whose merge base is higher.
    // Where there is not one merge base that stands on that line: newest first, as above.
    Result<OtherCommits> others(ObjectStore& store, const Oid& tip, const Oid& onto, const Progress& progress = {});
    // What `tip` reaches and none of `others` does, in topologicalOrder(). Of `others`, which may be tens of thousands, those that
    // cannot be read count for nothing. The walk is that of divergence(): time goes with what the others reach and the tip does not.
    Result<std::vector<Oid>> reachedOnlyBy(ObjectStore& store, const Oid& tip, std::span<const Oid> others,
                                           const Progress& progress = {});
    // As in the object, but for shallow boundaries (no parents), grafts and replaced commits.
    Result<std::vector<Oid>> parents(ObjectStore& store, const Oid& commit);
    // `commits` in the order of `rev-list --topo-order` from `tip`: children first, a line of history in one piece.
    // Commits that the tip does not reach inside the set are left out.
    Result<std::vector<Oid>> topologicalOrder(ObjectStore& store, const Oid& tip, const std::vector<Oid>& commits);

  private:
    struct Data;
    std::unique_ptr<Data> m_data;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Reads what the history table needs of many objects at once: a commit's parents and time, a tag's target. By all
// cores; straight from packs, through libgit2 for what PackReader does not find. Private to core/history.
#pragma once

#include "core/git/overrides.h"
#include "core/git/pack_reader.h"

#include <memory>
#include <span>
#include <vector>

namespace espalier {

struct CommitHeader {
    enum Kind : std::uint8_t { Commit, Tag, Other, Missing, Damaged } kind = Missing;
    bool boundary = false;         // shallow: parents left behind
    std::uint32_t firstParent = 0; // into Batch::parents
    std::uint32_t parentCount = 0; // for a tag: one, its target
    std::int64_t time = 0;
};

class CommitHeaders {
  public:
    CommitHeaders(const Repository& repository, const Overrides& overrides);
    ~CommitHeaders();

    struct Batch {
        std::vector<CommitHeader> headers; // by the ids asked for
        std::vector<Oid> parents;
    };
    // The headers of `ids`, overrides applied.
    Batch read(std::span<const Oid> ids);

  private:
    struct Worker;
    const Repository& m_repository;
    const Overrides& m_overrides;
    std::shared_ptr<const PackFiles> m_packs;
    std::vector<std::unique_ptr<Worker>> m_workers;
};

// Parents (or a tag's target) and committer's time from the beginning of an object. False when `bytes` end too early
// or make no sense.
bool parseHeader(std::string_view bytes, std::vector<Oid>& parents, std::int64_t& time);
bool parseTagTarget(std::string_view bytes, Oid& target);

} // namespace espalier

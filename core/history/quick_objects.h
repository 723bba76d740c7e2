// SPDX-License-Identifier: MIT
//
// Commits and trees for walks over thousands of commits: straight from the packs, with a small cache of its own; what
// is not found there (new objects in memory among it) comes from the store. Private to core/history.
#pragma once

#include "core/git/objects.h"
#include "core/git/pack_reader.h"
#include "core/history/commit_graph.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

// What may be shared by threads and kept between calls.
struct QuickFiles {
    std::shared_ptr<const PackFiles> packs;
    // None where there is none, or where parents differ from what the commits say (see Overrides).
    std::optional<CommitGraph> graph;
    static std::shared_ptr<const QuickFiles> open(const Repository& repository);
};

class QuickObjects {
  public:
    explicit QuickObjects(ObjectStore& store) : QuickObjects(store, QuickFiles::open(store.repository())) {}
    QuickObjects(ObjectStore& store, std::shared_ptr<const QuickFiles> files);
    // A commit's tree; its parents are added to `parents`.
    Result<Oid> commit(const Oid& id, std::vector<Oid>& parents);
    // Errors as ObjectStore::read() has them.
    Result<std::shared_ptr<const std::string>> read(const Oid& id, ObjectType type);
    ObjectStore& store() { return m_store; }

  private:
    ObjectStore& m_store;
    std::shared_ptr<const QuickFiles> m_files;
    std::unique_ptr<PackReader> m_packs; // made when first read from: many a question is answered from the store's cache
    std::vector<std::uint32_t> m_positions;
    // What was read last, by some bits of the id: a walk asks again only for what it had a moment ago.
    struct Slot {
        Oid id;
        std::shared_ptr<const std::string> bytes;
    };
    std::vector<Slot> m_slots;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Commits and trees for walks over thousands of commits: straight from the packs, with a small cache of its own; what
// is not found there (new objects in memory among it) comes from the store. Private to core/history.
#pragma once

#include "core/git/objects.h"
#include "core/git/pack_reader.h"
#include "core/history/commit_graph.h"
#include "core/tree/differences.h"

#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

// What one reader of the packs has, and what it read last, by some bits of the id: a walk asks again only for what it had
// a moment ago.
struct QuickReader {
    explicit QuickReader(std::shared_ptr<const PackFiles> files) : packs(std::move(files), std::size_t(16) << 20) {}
    struct Slot {
        Oid id;
        std::shared_ptr<const std::string> bytes;
    };
    PackReader packs;
    std::vector<Slot> slots = std::vector<Slot>(1024);
};

// What may be shared by threads and kept between calls.
class QuickFiles {
  public:
    std::shared_ptr<const PackFiles> packs;
    // None where there is none, or where parents differ from what the commits say (see Overrides).
    std::optional<CommitGraph> graph;
    static std::shared_ptr<const QuickFiles> open(const Repository& repository);

    // A reader is dear to make and comes with what it has read: one waits here for the next question.
    std::unique_ptr<QuickReader> takeReader() const;
    void giveBack(std::unique_ptr<QuickReader> reader) const;

  private:
    mutable std::mutex m_lock;
    mutable std::unique_ptr<QuickReader> m_spare;
};

class QuickObjects {
  public:
    explicit QuickObjects(ObjectStore& store) : QuickObjects(store, QuickFiles::open(store.repository())) {}
    QuickObjects(ObjectStore& store, std::shared_ptr<const QuickFiles> files);
    ~QuickObjects();
    QuickObjects(const QuickObjects&) = delete;
    QuickObjects& operator=(const QuickObjects&) = delete;
    // A commit's tree; its parents, those that git gives it (see Overrides), are added to `parents`.
    Result<Oid> commit(const Oid& id, std::vector<Oid>& parents);
    // Errors as ObjectStore::read() has them.
    Result<std::shared_ptr<const std::string>> read(const Oid& id, ObjectType type);
    ObjectStore& store() { return m_store; }

  private:
    ObjectStore& m_store;
    std::shared_ptr<const QuickFiles> m_files;
    std::unique_ptr<QuickReader> m_reader; // when first read from: many a question is answered from the store's cache
    std::vector<std::uint32_t> m_positions;
};

// See treeChanges() in core/tree/differences.h.
Result<std::optional<std::vector<PathChange>>>
treeChanges(QuickObjects& objects, const Oid& oldTree, const Oid& newTree,
            const std::function<bool(const std::string& path)>& wanted = {});

} // namespace espalier

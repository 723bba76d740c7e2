// SPDX-License-Identifier: MIT
//
// Refs moved together: locked, compared with what the change was made for, then moved with reflog lines. Private to core.
//
//     auto locked = RefLocks::take(handle, moves);   // Refused when one moved, or is held by another program
//     locked->commit("espalier: replay topic/x");
#pragma once

#include "core/refs/head.h"
#include "core/refs/ref_move.h"

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

// HEAD, held while refs move.
struct HeadMove {
    Head before;          // what it must still say, and the commit it must still lead to
    std::string now = {}; // full ref or id that it will say; empty: it stays
};

// Refused when one of the refs no longer stands at its old value, or a new name cannot stand beside those there are.
Result<void> checkMoves(git_repository* handle, const std::vector<RefMove>& moves);

class RefLocks {
  public:
    // The points inside commit() at which a power cut leaves something half moved, for tests.
    enum class Step { Deleted, PartMoved };

    // Locks every ref of `moves`, and HEAD when `head` is given, then compares their values: nothing that was read before
    // the locks is believed. A HEAD that is held keeps git from committing and checking out until this object goes.
    static Result<RefLocks> take(git_repository* handle, const std::vector<RefMove>& moves,
                                 const std::optional<HeadMove>& head = {});
    RefLocks(RefLocks&&) noexcept = default;

    // For cleaning up after a crash.
    std::vector<std::filesystem::path> lockFiles() const;
    // All moves, then HEAD. When it fails, some may have moved.
    Result<void> commit(const std::string& reflogLine, const std::function<void(Step)>& passed = {});

  private:
    // New and moved refs, HEAD and deletions go in this order, so that HEAD never names a ref that is not there.
    struct Phase {
        std::vector<RefMove> moves;
        bool head = false;
        bool late = false; // a new name where an old one has to go first: it cannot be locked before
        Handle<git_transaction> transaction;
    };
    RefLocks() = default;
    Result<void> lock(Phase& phase);
    Result<void> finish(Phase& phase, const std::string& reflogLine);
    git_repository* m_handle = nullptr;
    std::vector<Phase> m_phases;
    std::string m_newHead;
};

} // namespace espalier

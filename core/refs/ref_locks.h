// SPDX-License-Identifier: MIT
//
// Refs moved together: locked, compared with what the change was made for, then moved with reflog lines. Private to core.
//
//     auto locked = RefLocks::take(handle, moves);   // Refused when one moved, or is held by another program
//     locked->commit("espalier: replay topic/x");
#pragma once

#include "core/git/lock_files.h"
#include "core/refs/head.h"
#include "core/refs/ref_move.h"

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
    // Refused when one moved or is locked by somebody else (the lock is named, see lockIsHeld). Errors: Storage.
    static Result<RefLocks> take(git_repository* handle, const std::vector<RefMove>& moves,
                                 const std::optional<HeadMove>& head = {});
    RefLocks(RefLocks&&) noexcept = default;

    // All moves, then HEAD, each with a line in its log. When it fails, some may have moved.
    Result<void> commit(const std::string& reflogLine, const std::function<void(Step)>& passed = {});
    // Lets go of all locks. Errors: Storage, with the lock that stays behind until the next start.
    Result<void> release() { return m_locks.release(); }

  private:
    // New and moved refs, HEAD and deletions go in this order, so that HEAD never names a ref that is not there.
    struct Phase {
        std::vector<RefMove> moves;
        bool head = false;
        bool late = false;     // a new name where an old one has to go first: it cannot be locked before
        std::size_t first = 0; // the number of its first lock; HEAD's is the last
    };
    explicit RefLocks(LockFiles locks) : m_locks(std::move(locks)) {}
    Result<void> announce(const std::optional<HeadMove>& head);
    Result<void> lock(const Phase& phase);
    Result<void> lockPacked();
    Result<void> finish(const Phase& phase, const std::string& reflogLine);
    Result<void> writeLogs(const Phase& phase, const std::string& reflogLine);
    Result<void> moveRef(std::size_t number, const std::string& name);
    Result<void> removeRefs(const Phase& phase);
    git_repository* m_handle = nullptr;
    LockFiles m_locks;
    std::vector<Phase> m_phases;
    std::optional<std::size_t> m_packed; // the number of the lock on packed-refs
    Head m_headBefore;
    std::string m_newHead;
};

// A ref that only points at another. Errors: Storage; Refused when it is locked by somebody else.
Result<void> setSymbolicRef(git_repository* handle, const std::string& name, const std::string& target);

} // namespace espalier

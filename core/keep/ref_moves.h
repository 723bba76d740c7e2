// SPDX-License-Identifier: MIT
//
// Refs moved together: locked, compared with what the change was made for, then moved with reflog lines. Private to
// core/keep and core/remotes.
//
//     auto locked = RefLocks::take(handle, moves, newHead);   // Refused when one moved, or is held by another program
//     locked->commit("espalier: replay topic/x");
#pragma once

#include "core/git/handles.h"
#include "core/keep/storage.h"
#include "core/replay/rewrite.h"

#include <string>
#include <vector>

namespace espalier {

// What HEAD says.
struct Head {
    std::string text; // full ref, or an id when detached
    Oid tip;          // zero when unborn
    bool detached = false;
    bool unborn() const { return !detached && tip.isZero(); }
};
// Errors: Broken.
Result<Head> readHead(git_repository* handle);

// Zero when there is no such ref. Errors: Broken; Refused for a symbolic ref, which is never moved.
Result<Oid> readRef(git_repository* handle, const std::string& name);

// Refused when one of the refs no longer stands at its old value, or a new name cannot stand beside those there are.
Result<void> checkMoves(git_repository* handle, const std::vector<RefMove>& moves);

class RefLocks {
  public:
    // Locks every ref of `moves`, and HEAD when `newHead` is not empty or `holdHead`, then checks their values.
    // `headBefore` is what HEAD must still say then.
    static Result<RefLocks> take(git_repository* handle, std::vector<RefMove> moves, std::string newHead, bool holdHead,
                                 const std::string& headBefore);
    RefLocks(RefLocks&&) noexcept = default;

    // The lock files, for cleaning up after a crash.
    std::vector<FileMark> marks() const;
    // All moves, then HEAD. When it fails, some may have moved.
    Result<void> commit(const std::string& reflogLine);

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

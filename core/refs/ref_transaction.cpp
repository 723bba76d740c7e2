// SPDX-License-Identifier: MIT
#include "core/refs/ref_transaction.h"

#include "core/git/handles.h"
#include "core/git/hooks.h"
#include "core/refs/ref_locks.h"

namespace espalier {

std::string transactionLines(const std::vector<RefMove>& moves)
{
    std::string lines;
    for (const RefMove& move : moves)
        lines += move.old.hex() + ' ' + move.now.hex() + ' ' + move.name + '\n';
    return lines;
}

Result<std::string> moveRefs(const Repository& repository, const std::vector<RefMove>& moves,
                             const std::string& reflogLine, const Progress& progress)
{
    auto locks = RefLocks::take(raw(repository), moves);
    if (!locks)
        return std::unexpected(locks.error());
    auto hook = RefTransactionHook::prepare(repository, transactionLines(moves), progress);
    if (!hook)
        return std::unexpected(hook.error());
    if (auto moved = locks->commit(reflogLine); !moved)
        return std::unexpected(moved.error());
    std::string notice = hook->committed();
    if (auto released = locks->release(); !released)
        return std::unexpected(released.error());
    return notice;
}

} // namespace espalier

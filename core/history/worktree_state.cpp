// SPDX-License-Identifier: MIT
#include "core/history/worktree_state.h"

#include "core/git/handles.h"
#include "core/history/ref_reader.h"
#include "core/refs/held_branches.h"

namespace espalier {

namespace {

std::string operationName(int state)
{
    switch (state) {
    case GIT_REPOSITORY_STATE_MERGE:
        return "a merge";
    case GIT_REPOSITORY_STATE_REVERT:
    case GIT_REPOSITORY_STATE_REVERT_SEQUENCE:
        return "a revert";
    case GIT_REPOSITORY_STATE_CHERRYPICK:
    case GIT_REPOSITORY_STATE_CHERRYPICK_SEQUENCE:
        return "a cherry-pick";
    case GIT_REPOSITORY_STATE_BISECT:
        return "a bisection";
    case GIT_REPOSITORY_STATE_REBASE:
    case GIT_REPOSITORY_STATE_REBASE_INTERACTIVE:
    case GIT_REPOSITORY_STATE_REBASE_MERGE:
        return "a rebase";
    case GIT_REPOSITORY_STATE_APPLY_MAILBOX:
        return "applying mailed patches";
    case GIT_REPOSITORY_STATE_APPLY_MAILBOX_OR_REBASE:
        return "a rebase or applying mailed patches";
    default:
        return {};
    }
}

} // namespace

WorktreeState readWorktreeState(const Repository& repository)
{
    WorktreeState state;
    state.bare = repository.isBare();
    const HeadContent head = headContent(repository.gitDir());
    state.headBranch = head.branch;
    state.detached = head.branch.empty();
    state.headTip = head.id;
    if (!state.detached) {
        const int unborn = git_repository_head_unborn(raw(repository));
        state.unborn = unborn == 1;
        if (unborn == 0) {
            git_oid tip;
            if (git_reference_name_to_id(&tip, raw(repository), "HEAD") == 0)
                state.headTip = fromGit(tip);
        }
    }
    for (const HeldBranch& held : heldBranches(repository))
        if (!held.here)
            state.checkedOutElsewhere.try_emplace(held.ref, held.where.string());
    if (state.bare)
        return state;
    state.inProgress = operationName(git_repository_state(raw(repository)));
    state.sparse = repository.configBool("core.sparseCheckout", false);
    return state;
}

} // namespace espalier

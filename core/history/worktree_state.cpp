// SPDX-License-Identifier: MIT
#include "core/history/worktree_state.h"

#include "core/git/handles.h"
#include "core/history/ref_reader.h"

#include <fstream>

namespace espalier {

namespace {

namespace fs = std::filesystem;

std::string firstLine(const fs::path& path)
{
    std::ifstream file(path);
    std::string line;
    std::getline(file, line);
    while (!line.empty() && (line.back() == '\r' || line.back() == ' '))
        line.pop_back();
    return line;
}

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

// The branches that a worktree holds: the one checked out, and the one that a rebase there is moving.
void addHeld(const fs::path& gitDir, const std::string& where, std::map<std::string, std::string>& held)
{
    for (const std::string& branch : {headContent(gitDir).branch, firstLine(gitDir / "rebase-merge/head-name"),
                                      firstLine(gitDir / "rebase-apply/head-name")})
        if (branch.starts_with("refs/heads/"))
            held.try_emplace(branch, where);
}

void readOtherWorktrees(const Repository& repository, WorktreeState& state)
{
    std::error_code error;
    const fs::path common = fs::weakly_canonical(repository.commonDir(), error);
    const fs::path own = fs::weakly_canonical(repository.gitDir(), error);
    if (own != common && !repository.configBool("core.bare", false))
        addHeld(common, common.filename() == ".git" ? common.parent_path().string() : common.string(),
                state.checkedOutElsewhere);
    for (fs::directory_iterator at(common / "worktrees", error), end; !error && at != end; at.increment(error)) {
        std::error_code same;
        if (fs::weakly_canonical(at->path(), same) == own)
            continue;
        // `gitdir` names the worktree's .git file; a worktree whose folder is gone holds nothing that can be lost.
        const fs::path dotGit = firstLine(at->path() / "gitdir");
        const fs::path full = dotGit.is_absolute() ? dotGit : at->path() / dotGit;
        if (!dotGit.empty() && (fs::exists(full, same) || fs::exists(at->path() / "locked", same)))
            addHeld(at->path(), full.parent_path().lexically_normal().string(), state.checkedOutElsewhere);
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
    readOtherWorktrees(repository, state);
    if (state.bare)
        return state;
    state.inProgress = operationName(git_repository_state(raw(repository)));
    state.sparse = repository.configBool("core.sparseCheckout", false);
    return state;
}

} // namespace espalier

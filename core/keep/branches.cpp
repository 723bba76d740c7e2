// SPDX-License-Identifier: MIT
//
// Branch keeping: check out, create, rename, delete, fast-forward.
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/keep/apply.h"
#include "core/keep/change.h"
#include "core/refs/ref_name.h"

namespace espalier {

namespace {

std::string shown(const std::string& name) { return displayText(name, 300); }

Result<std::string> refFor(const std::string& branch)
{
    if (!isBranchName(branch))
        return fail(ErrorKind::Usage, "This is not a name that a branch can have", shown(branch),
                    "Leave out blanks, '..', '~', '^', ':', '?', '*', '[' and '\\', and a '-' or '.' at the beginning");
    return branchRef(branch);
}

struct Standing {
    std::string ref;
    Oid tip;
};

Result<Standing> existing(const Repository& repository, const std::string& branch)
{
    auto ref = refFor(branch);
    if (!ref)
        return std::unexpected(ref.error());
    auto tip = readRef(raw(repository), *ref);
    if (!tip)
        return std::unexpected(tip.error());
    if (tip->isZero())
        return fail(ErrorKind::NotFound, "There is no such branch", shown(branch), "Look at the list of branches");
    return Standing{*ref, *tip};
}

Result<void> checkCommit(const Repository& repository, const Oid& id)
{
    Handle<git_commit> commit;
    const git_oid raw = toGit(id);
    if (git_commit_lookup(out(commit), espalier::raw(repository), &raw) < 0)
        return fail(ErrorKind::NotFound, "The repository has no such commit", id.hex(), "Fetch first");
    return {};
}

Result<void> checkHasWorktree(const Repository& repository)
{
    if (repository.isBare())
        return fail(ErrorKind::Refused, "A bare repository has no worktree to check something out in",
                    repository.path().string(), "Use a clone of it");
    return {};
}

} // namespace

Result<Applied> checkOut(const Repository& repository, const std::string& branch, const Progress& progress)
{
    if (auto checked = checkHasWorktree(repository); !checked)
        return std::unexpected(checked.error());
    auto standing = existing(repository, branch);
    if (!standing)
        return std::unexpected(standing.error());
    return carryOut(
        repository,
        {.kind = EntryKind::Branch, .title = "Check out " + branch, .newHead = standing->ref, .record = false},
        progress);
}

Result<Applied> checkOutDetached(const Repository& repository, const Oid& commit, const Progress& progress)
{
    if (auto checked = checkHasWorktree(repository); !checked)
        return std::unexpected(checked.error());
    if (auto checked = checkCommit(repository, commit); !checked)
        return std::unexpected(checked.error());
    return carryOut(
        repository,
        {.kind = EntryKind::Branch, .title = "Check out " + commit.brief(), .newHead = commit.hex(), .record = false},
        progress);
}

Result<Applied> createBranch(const Repository& repository, const std::string& branch, const Oid& at, bool checkItOut)
{
    auto ref = refFor(branch);
    if (!ref)
        return std::unexpected(ref.error());
    if (auto checked = checkCommit(repository, at); !checked)
        return std::unexpected(checked.error());
    if (checkItOut) {
        if (auto checked = checkHasWorktree(repository); !checked)
            return std::unexpected(checked.error());
    }
    Change change{.kind = EntryKind::Branch, .title = "Create " + branch, .moves = {{*ref, Oid{}, at}}};
    if (checkItOut)
        change.newHead = *ref;
    return carryOut(repository, std::move(change), {});
}

Result<Applied> renameBranch(const Repository& repository, const std::string& from, const std::string& to)
{
    auto standing = existing(repository, from);
    if (!standing)
        return std::unexpected(standing.error());
    auto ref = refFor(to);
    if (!ref)
        return std::unexpected(ref.error());
    auto head = readHead(raw(repository));
    if (!head)
        return std::unexpected(head.error());
    Change change{.kind = EntryKind::Branch,
                  .title = "Rename " + from + " to " + to,
                  .moves = {{standing->ref, standing->tip, Oid{}}, {*ref, Oid{}, standing->tip}}};
    if (head->text == standing->ref)
        change.newHead = *ref;
    return carryOut(repository, std::move(change), {});
}

Result<Applied> deleteBranch(const Repository& repository, const std::string& branch, const std::optional<Oid>& expect)
{
    auto standing = existing(repository, branch);
    if (!standing)
        return std::unexpected(standing.error());
    if (expect && standing->tip != *expect)
        return fail(ErrorKind::Refused, "The branch has moved since it was looked at", shown(branch),
                    "Nothing was deleted; look at it again");
    return carryOut(
        repository,
        {.kind = EntryKind::Branch, .title = "Delete " + branch, .moves = {{standing->ref, standing->tip, Oid{}}}}, {});
}

Result<Applied> fastForward(const Repository& repository, const std::string& branch, const Oid& to,
                            const Progress& progress)
{
    auto standing = existing(repository, branch);
    if (!standing)
        return std::unexpected(standing.error());
    if (auto checked = checkCommit(repository, to); !checked)
        return std::unexpected(checked.error());
    const git_oid below = toGit(standing->tip), above = toGit(to);
    const int descends = git_graph_descendant_of(raw(repository), &above, &below);
    if (descends < 0)
        return libgitError("The history cannot be read", to.hex());
    if (descends == 0 && standing->tip != to)
        return fail(ErrorKind::Refused, "The branch has commits of its own, so it cannot just move up", shown(branch),
                    "Replay it, or move its commits to a topic branch");
    return carryOut(repository,
                    {.kind = EntryKind::Update,
                     .title = "Fast-forward " + branch + " to " + to.brief(),
                     .moves = {{standing->ref, standing->tip, to}}},
                    progress);
}

Result<Applied> moveToTopic(const Repository& repository, const std::string& mainBranch, const std::string& newTopic,
                            const Oid& to, const Progress& progress)
{
    auto standing = existing(repository, mainBranch);
    if (!standing)
        return std::unexpected(standing.error());
    auto topic = refFor(newTopic);
    if (!topic)
        return std::unexpected(topic.error());
    if (auto checked = checkCommit(repository, to); !checked)
        return std::unexpected(checked.error());
    auto head = readHead(raw(repository));
    if (!head)
        return std::unexpected(head.error());
    Change change{.kind = EntryKind::Branch,
                  .title = "Move the commits of " + mainBranch + " to " + newTopic,
                  .moves = {{standing->ref, standing->tip, to}, {*topic, Oid{}, standing->tip}}};
    // Who had the main line checked out was at work on those commits: they stay checked out, and no file changes.
    if (head->text == standing->ref)
        change.newHead = *topic;
    return carryOut(repository, std::move(change), progress);
}

} // namespace espalier

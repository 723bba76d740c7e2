// SPDX-License-Identifier: MIT
#include "core/refs/held_branches.h"

#include "core/git/files.h"
#include "core/refs/ref_name.h"

namespace espalier {

namespace {

namespace fs = std::filesystem;

// HEAD as text; a link where an old git left one.
std::string branchOfHead(const fs::path& gitDir)
{
    std::error_code error;
    if (const auto link = fs::read_symlink(gitDir / "HEAD", error); !error)
        return link.string();
    constexpr std::string_view symbolic = "ref:";
    std::string head = firstLine(gitDir / "HEAD");
    if (!head.starts_with(symbolic))
        return {};
    head.erase(0, std::min(head.find_first_not_of(" \t", symbolic.size()), head.size()));
    return head;
}

void add(const fs::path& gitDir, const fs::path& where, bool here, std::vector<HeldBranch>& held)
{
    const auto take = [&](std::string ref) {
        if (ref.starts_with(headsPrefix) && !std::ranges::contains(held, ref, &HeldBranch::ref))
            held.push_back({std::move(ref), where, here});
    };
    take(branchOfHead(gitDir));
    take(firstLine(gitDir / "rebase-merge/head-name"));
    take(firstLine(gitDir / "rebase-apply/head-name"));
    if (const std::string start = firstLine(gitDir / "BISECT_START"); !start.empty())
        take(branchRef(start));
    // Three lines a branch: its name, the id before, the id after.
    constexpr std::size_t limit = std::size_t(4) << 20;
    const auto moving = readFileBounded(gitDir / "rebase-merge/update-refs", limit);
    for (std::size_t at = 0; moving && at < moving->size();) {
        const std::size_t end = std::min(moving->find('\n', at), moving->size());
        take(moving->substr(at, end - at));
        at = end + 1;
    }
}

} // namespace

std::vector<HeldBranch> heldBranches(const Repository& repository)
{
    std::vector<HeldBranch> held;
    std::error_code error;
    const fs::path common = fs::weakly_canonical(repository.commonDir(), error);
    const fs::path own = fs::weakly_canonical(repository.gitDir(), error);
    const auto folderOf = [](const fs::path& gitDir) {
        return gitDir.filename() == ".git" ? gitDir.parent_path() : gitDir;
    };
    if (own == common || !repository.configBool("core.bare", false))
        add(common, folderOf(common), own == common, held);
    for (fs::directory_iterator at(common / "worktrees", error), end; !error && at != end; at.increment(error)) {
        std::error_code same;
        const bool here = fs::weakly_canonical(at->path(), same) == own;
        // `gitdir` names the worktree's .git file.
        const fs::path dotGit = firstLine(at->path() / "gitdir");
        const fs::path full = dotGit.is_absolute() ? dotGit : at->path() / dotGit;
        if (here || (!dotGit.empty() && (fs::exists(full, same) || fs::exists(at->path() / "locked", same))))
            add(at->path(), full.parent_path().lexically_normal(), here, held);
    }
    return held;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/history/snapshot.h"
#include "core/keep/ref_moves.h"
#include "core/remotes/fetch.h"
#include "core/remotes/push.h"

namespace espalier {

namespace {

void pushOn(const Repository& repository, const std::string& branch, const Roles& roles, const Access& access,
            const Progress& progress, UpdateReport& report)
{
    if (roles.fork.empty() || roles.oneForBoth())
        return;
    auto pushed = push(repository, {branch, roles.fork, std::nullopt}, access, progress);
    if (!pushed) {
        report.lines.push_back("Not pushed to the fork: " + pushed.error().line());
        return;
    }
    report.pushedToFork = pushed->old != pushed->now;
    report.lines.push_back(displayText(branch, 300) + (report.pushedToFork ? " was pushed to " : " is up to date on ") +
                           displayText(roles.fork, 100));
}

} // namespace

Result<UpdateReport> bringUpToDate(const Repository& repository, const Access& access, const Progress& progress)
{
    UpdateReport report;
    const Roles roles = guessRoles(repository, readRemotes(repository));
    if (roles.upstream.empty())
        return fail(ErrorKind::Refused, "There is no upstream to fetch from", repository.path().string(),
                    "Add a remote and choose it as the upstream");
    std::vector<std::string> remotes{roles.upstream};
    if (!roles.fork.empty() && !roles.oneForBoth())
        remotes.push_back(roles.fork);
    for (const std::string& remote : remotes) {
        auto fetched = fetchRemote(repository, remote, access, progress);
        if (!fetched)
            return std::unexpected(fetched.error());
        report.fetched.push_back(std::move(*fetched));
    }
    auto snapshot = takeSnapshot(repository, progress);
    if (!snapshot)
        return std::unexpected(snapshot.error());
    const Ref* mainLine = (*snapshot)->mainLineRef();
    if (!mainLine || mainLine->kind != RefKind::RemoteBranch)
        return fail(ErrorKind::NotFound, "The upstream has no main line", displayText(roles.upstream, 100),
                    "Check what its HEAD points at");
    const std::string branch = mainLine->branch;
    const Ref* own = (*snapshot)->findRef("refs/heads/" + branch);
    if (!own) {
        report.lines.push_back("The clone has no branch " + displayText(branch, 300) + "; nothing was moved");
        return report;
    }
    const std::size_t ahead = (*snapshot)->history.onlyIn(own->row, mainLine->row).size();
    if (ahead > 0) {
        report.ownCommits = ahead;
        report.lines.push_back(displayText(branch, 300) + " has " + counted(ahead, "commit", "commits") +
                               " of its own, so nothing was moved; they can be moved to a topic branch");
        return report;
    }
    if (own->tip != mainLine->tip) {
        auto moved = fastForward(repository, branch, mainLine->tip, progress);
        if (!moved)
            return std::unexpected(moved.error());
        report.moves = moved->entry.moves;
        report.lines.push_back(displayText(branch, 300) + " moved up to " + mainLine->tip.brief());
        for (std::string& notice : moved->notices)
            report.lines.push_back(std::move(notice));
    } else {
        report.lines.push_back(displayText(branch, 300) + " is up to date");
    }
    pushOn(repository, branch, roles, access, progress, report);
    return report;
}

} // namespace espalier

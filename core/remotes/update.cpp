// SPDX-License-Identifier: MIT
#include "core/git/handles.h"
#include "core/git/text.h"
#include "core/history/snapshot.h"
#include "core/refs/ref_name.h"
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
        report.notPushed = pushed.error();
        return;
    }
    report.pushedToFork = pushed->old != pushed->now;
    report.lines.push_back(displayText(branch, 300) + (report.pushedToFork ? " was pushed to " : " is up to date on ") +
                           displayText(roles.fork, 100));
}

// What failed or was stopped, and what was done before.
std::unexpected<Error> stoppedAfter(const UpdateReport& report, Error error)
{
    std::string done;
    for (const FetchReport& fetched : report.fetched)
        done += (done.empty() ? "" : " and ") + displayText(fetched.remote, 100);
    if (done.empty())
        return std::unexpected(std::move(error));
    const std::string known =
        done + (report.fetched.size() > 1 ? " were" : " was") + " fetched; the main line was not moved";
    if (error.kind == ErrorKind::Cancelled)
        return cancelled(known);
    error.remedy += (error.remedy.empty() ? "" : ". ") + known;
    return std::unexpected(std::move(error));
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
            return stoppedAfter(report, fetched.error());
        report.fetched.push_back(std::move(*fetched));
    }
    auto snapshot = takeSnapshot(repository, progress);
    if (!snapshot)
        return stoppedAfter(report, snapshot.error());
    const Ref* mainLine = (*snapshot)->mainLineRef();
    if (!mainLine || mainLine->kind != RefKind::RemoteBranch)
        return fail(ErrorKind::NotFound, "The upstream has no main line", displayText(roles.upstream, 100),
                    "Check what its HEAD points at");
    const std::string branch = mainLine->branch;
    const Ref* own = (*snapshot)->findRef(branchRef(branch));
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
            return stoppedAfter(report, moved.error());
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

// SPDX-License-Identifier: MIT
//
// What is found out about the branches once their check is shown: what differs as a whole, and what else stands on the old tip.
#include "app/overwrite/overwrite_page_private.h"

#include "app/support/text.h"

#include <algorithm>

namespace espalier {

// What takes longer than a look: read in the background, shown when it is known.
void OverwritePage::Private::lookAround()
{
    for (const QPointer<Work>& work : works)
        if (work)
            work->cancel();
    works.clear();
    ++shown;
    around.assign(checks.size(), {});
    detail->setRepository(session ? session->path() : QString());
    detail->clear(tr("No commit is chosen."));
    for (std::size_t i = 0; i < checks.size(); ++i)
        lookAtBranch(i);
    lookForOthers();
    showChosen(picture->currentBranch(), picture->currentRow());
}

void OverwritePage::Private::lookAtBranch(std::size_t number)
{
    const OverwriteCheck& check = checks[number];
    if (check.upToDate || check.remoteTip.isZero())
        around[number].why = check.upToDate ? tr("The fork has the branch as it is here.")
                                            : tr("The fork has no such branch yet: all of it is new there.");
    if (!session || session->path().isEmpty() || check.upToDate)
        return;
    works.push_back(startWork<BranchDifference>(
        page, tr("Comparing the whole of %1").arg(toText(check.branch)),
        [path = toBytes(session->path()), check](const Progress& progress) -> Result<BranchDifference> {
            const auto repository = Repository::open(path);
            if (!repository)
                return std::unexpected(repository.error());
            return branchDifference(*repository, check, progress);
        },
        [this, number, mine = shown](const Result<BranchDifference>& difference) {
            if (mine != shown)
                return;
            if (difference)
                around[number].difference = *difference;
            else
                around[number].why = toText(difference.error().line());
            showSurroundings();
            Q_EMIT page->surroundingsShown();
        }));
}

// The check has fetched: the session's snapshot may be older, and is asked again when there is a newer one.
void OverwritePage::Private::lookForOthers()
{
    const SnapshotPtr snapshot = session ? session->snapshot() : nullptr;
    if (!snapshot)
        return;
    std::erase_if(works, [](const QPointer<Work>& work) { return !work; });
    works.push_back(startWork<std::vector<std::vector<StandsOn>>>(
        page, tr("Looking for what else has the old commits"),
        [snapshot, checks = checks](const Progress& progress) -> Result<std::vector<std::vector<StandsOn>>> {
            std::vector<std::vector<StandsOn>> found;
            for (const OverwriteCheck& check : checks) {
                if (progress.stopped())
                    return cancelled();
                found.push_back(whatStandsOn(*snapshot, check));
            }
            return found;
        },
        [this, snapshot, mine = shown](const Result<std::vector<std::vector<StandsOn>>>& found) {
            if (mine != shown || !found || snapshot != session->snapshot())
                return;
            for (std::size_t i = 0; i < checks.size(); ++i) {
                const bool known = checks[i].remoteTip.isZero() || snapshot->history.find(checks[i].remoteTip) != noRow;
                // Once it is pushed no ref of the snapshot has the old tip any more; what was found before stays.
                if (!known && around[i].standingKnown)
                    continue;
                around[i].standing = (*found)[i];
                around[i].standingKnown = known;
            }
            showSurroundings();
            Q_EMIT page->surroundingsShown();
        },
        WorkPriority::Background));
}

void OverwritePage::Private::showChosen(int branch, int row)
{
    if (branch >= 0 && row >= 0) {
        if (onHeading)
            detail->choose(CheckDetail::Commit);
        detail->showRow(rows[std::size_t(branch)][std::size_t(row)]);
    } else if (branch >= 0) {
        detail->choose(CheckDetail::Whole);
    }
    onHeading = branch >= 0 && row < 0;
    showSurroundings();
}

void OverwritePage::Private::showSurroundings()
{
    const auto at = std::size_t(std::max(0, picture->currentBranch()));
    const Surroundings& known = around[at];
    detail->showWhole(known.why.isEmpty() ? known.difference : std::nullopt,
                      known.why.isEmpty() ? tr("Not known yet.") : known.why);
    detail->showStanding(known.standing, known.standingKnown);
    const auto has = [&](auto&& is) { return at < rows.size() && std::ranges::any_of(rows[at], is); };
    const bool old = has([](const CheckRow& row) { return row.before.has_value(); });
    const bool now = has([](const CheckRow& row) {
        return row.now && row.state != CheckState::Landed && row.state != CheckState::Kept;
    });
    // One line comes down where the new version has left what both have.
    const bool joined = has([](const CheckRow& row) { return row.state == CheckState::Kept; });
    // Among several branches the lanes that come down are not those of the chosen one.
    if (!session || isSeveral() || checks[at].upToDate)
        bases->show(std::nullopt, false, false);
    else
        bases->show(known.difference, old, now && !joined);
    updateSentence();
}

} // namespace espalier

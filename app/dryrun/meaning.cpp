// SPDX-License-Identifier: MIT
#include "app/dryrun/meaning.h"

#include "app/support/text.h"
#include "core/git/text.h"

#include <QCoreApplication>

#include <algorithm>

namespace espalier {

namespace {

QString tr(const char* text) { return QCoreApplication::translate("Meaning", text); }
QString count(std::size_t number, const char* one, const char* many)
{
    return QString::fromStdString(counted(number, one, many));
}

bool stays(const ReplayedCommit& commit)
{
    return commit.treatment == Treatment::Carry && commit.outcome != Outcome::Landed &&
           commit.outcome != Outcome::Empty;
}

} // namespace

QString meaningOf(const DryRun& run, const ForkCopy& copy)
{
    const std::size_t before = run.commits.size();
    const auto after = std::size_t(std::ranges::count_if(run.commits, stays));
    QStringList parts;
    const bool nothing = std::ranges::all_of(
        run.commits, [](const ReplayedCommit& commit) { return commit.outcome == Outcome::Unchanged; });
    if (nothing)
        return tr("Nothing would change: the commits already stand there.");
    if (after == 0)
        parts << tr("Nothing is left of %1: the branch will stand on the new base.")
                     .arg(count(before, "commit", "commits"));
    else if (after == before)
        parts << (before == 1 ? tr("The commit is carried over and gets a new ID.")
                              : tr("All %1 are carried over and get new IDs.").arg(count(before, "commit", "commits")));
    else
        parts << tr("%1 become %2.").arg(count(before, "commit", "commits")).arg(after);
    if (!copy.known)
        return parts.join(QLatin1Char(' '));
    if (!copy.exists)
        parts << tr("The fork has no copy of this branch yet: a plain push will do.");
    else if (copy.fastForwards)
        parts << tr("A plain push will bring the fork's copy up to date.");
    else if (copy.replacement.replaced.empty() && copy.replacement.alone() == 0)
        parts << tr("The fork's copy will need a forced update; what stands there now stays on upstream.");
    else
        parts << tr("The fork's copy will need a forced update: %1.").arg(toText(copy.replacement.line()));
    return parts.join(QLatin1Char(' '));
}

QStringList cautionsOf(const DryRun& run, const ForkCopy& copy)
{
    QStringList lines;
    if (copy.isMainLine)
        lines << tr("This is the main line. Everybody builds on it; rewriting it is rarely what a project wants.");
    if (copy.onUpstream)
        lines << tr("Upstream already has some of these commits. Others build on them: leave them as they are unless "
                    "the maintainers asked for this.");
    const std::vector<CommitSummary>& foreign = copy.replacement.foreign;
    if (!foreign.empty())
        lines
            << tr("The fork's copy has %1 of %2 that the outcome has no counterpart of. The overwrite check will name "
                  "them before anything is replaced.")
                   .arg(count(foreign.size(), "commit", "commits"), toText(authorsOf(foreign)));
    else if (!copy.replacement.replaced.empty() && !copy.onUpstream)
        lines << tr("Some of these commits are on the fork already, where reviewers or others may have fetched them. "
                    "Whether a published branch may be rewritten is for the project's contribution rules and its "
                    "maintainers to say.");
    if (std::ranges::any_of(run.commits, &ReplayedCommit::losesSignature))
        lines << tr("Signed commits lose their signatures: your configuration does not sign new commits.");
    constexpr std::size_t most = 3;
    const std::vector<std::string> notAsGit = run.notAsGitLines();
    for (std::size_t i = 0; i < std::min(most, notAsGit.size()); ++i)
        lines << tr("Not as git: %1.").arg(toText(notAsGit[i]));
    if (notAsGit.size() > most)
        lines << tr("So are %1.").arg(count(notAsGit.size() - most, "more path", "more paths"));
    return lines;
}

QString outcomeText(const DryRun& run, std::size_t index)
{
    const ReplayedCommit& commit = run.commits[index];
    switch (commit.treatment) {
    case Treatment::LeaveOut:
        return tr("− left out");
    case Treatment::Fold:
    case Treatment::FoldQuietly:
        if (commit.outcome != Outcome::Conflict)
            return tr("↰ folded into the one before");
        break;
    case Treatment::Carry:
        break;
    }
    switch (commit.outcome) {
    case Outcome::Unchanged:
        return tr("= unchanged");
    case Outcome::Conflict:
        return tr("▲ conflict");
    case Outcome::Landed:
        return tr("≡ landed");
    case Outcome::Empty:
        return tr("○ empty");
    case Outcome::Clean:
        break;
    }
    if (!commit.conflicts.empty())
        return tr("✓ clean, settled");
    if (commit.dependsOn.empty())
        return tr("✓ clean");
    QStringList on;
    for (const std::size_t other : commit.dependsOn)
        on << QString::number(other + 1);
    return tr("✓ clean, depends on %1").arg(on.join(QLatin1String(", ")));
}

QString detailText(const DryRun& run, std::size_t index)
{
    const ReplayedCommit& commit = run.commits[index];
    QStringList parts;
    if (commit.treatment == Treatment::LeaveOut)
        parts << tr("it will not be in the result");
    else if (commit.outcome == Outcome::Landed)
        parts << (commit.landedAs ? tr("the same change is there as %1; left out").arg(toText(commit.landedAs->brief()))
                                  : tr("the same change is already there; left out"));
    else if (commit.outcome == Outcome::Empty)
        parts << tr("nothing is left of it; left out");
    for (const Conflict& conflict : commit.conflicts) {
        const QString path = toText(conflict.path.path);
        if (conflict.undecided == 0)
            parts << tr("%1: settled").arg(path);
        else if (conflict.again > 0)
            parts << tr("%1: %2 to be looked at again").arg(path, count(conflict.undecided, "hunk", "hunks"));
        else if (conflict.path.wholePath())
            parts << tr("%1: the whole file").arg(path);
        else if (conflict.undecided < conflict.hunks)
            parts << tr("%1: %2 of %3 undecided")
                         .arg(path, QString::number(conflict.undecided), count(conflict.hunks, "hunk", "hunks"));
        else
            parts << QStringLiteral("%1: %2").arg(path, count(conflict.hunks, "hunk", "hunks"));
    }
    if (parts.isEmpty()) {
        if (commit.files.size() <= 2)
            for (const std::string& file : commit.files)
                parts << toText(file);
        else
            parts << tr("%1 and %2 more").arg(toText(commit.files.front()), QString::number(commit.files.size() - 1));
    }
    if (commit.losesSignature)
        parts << tr("its signature is lost");
    return parts.join(QStringLiteral(" · "));
}

} // namespace espalier

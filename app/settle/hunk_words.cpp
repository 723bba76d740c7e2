// SPDX-License-Identifier: MIT
#include "app/settle/hunk_words.h"

#include "app/support/text.h"
#include "core/git/text.h"

#include <QCoreApplication>
#include <QStringList>

namespace espalier {

namespace {

QString tr(const char* text) { return QCoreApplication::translate("HunkWords", text); }

// "23bb4cd", "23bb4cd and 9e1f0aa", "23bb4cd, 9e1f0aa, 77c0d12 and 4 more".
QString idsOf(const std::vector<LineCommit>& commits)
{
    constexpr std::size_t most = 3;
    QStringList ids;
    for (std::size_t i = 0; i < std::min(most, commits.size()); ++i)
        ids << toText(commits[i].id.brief());
    if (commits.size() > most)
        return tr("%1 and %2 more").arg(ids.join(QStringLiteral(", "))).arg(commits.size() - most);
    const QString last = ids.takeLast();
    return ids.isEmpty() ? last : tr("%1 and %2").arg(ids.join(QStringLiteral(", ")), last);
}

QString byNewBase(const HunkCommits& who)
{
    const auto& commits = who.newBase;
    if (commits.empty())
        return who.earlierOfTopic ? tr("Commits of this replay that already stand on the new base changed these lines")
                                  : tr("The new base has other lines here");
    const QString words =
        commits.size() == 1
            ? tr("The new base changed these lines in %1 (%2, %3)")
                  .arg(toText(commits[0].id.brief()), toText(commits[0].author), relativeTime(commits[0].when))
            : tr("The new base changed these lines in %1 commits, %2").arg(commits.size()).arg(idsOf(commits));
    return who.earlierOfTopic ? tr("%1, and commits of this replay did too").arg(words) : words;
}

} // namespace

QString whoChanged(const HunkCommits& who, const Oid& yourCommit)
{
    const QString your =
        who.topic.empty()
            ? tr("your commit in %1").arg(toText(yourCommit.brief()))
            : tr("your branch in %1 and before that in %2").arg(toText(yourCommit.brief()), idsOf(who.topic));
    return tr("%1; %2.").arg(byNewBase(who), your);
}

QString whoChangedAtLength(const HunkCommits& who)
{
    QStringList lines;
    const auto add = [&](const QString& head, const std::vector<LineCommit>& commits) {
        if (!commits.empty())
            lines << head;
        for (const LineCommit& commit : commits)
            lines << tr("%1 %2 (%3, %4)")
                         .arg(toText(commit.id.brief()), toText(commit.subject), toText(commit.author),
                              relativeTime(commit.when));
    };
    add(tr("On the new base:"), who.newBase);
    add(tr("Earlier in your branch:"), who.topic);
    return lines.join(QLatin1Char('\n'));
}

QString newBaseWords(const HunkCommits& who)
{
    if (who.newBase.empty())
        return {};
    const QString first = tr("%1 %2").arg(toText(who.newBase[0].id.brief()), toText(who.newBase[0].subject));
    return who.newBase.size() == 1 ? first : tr("%1, and %2 more").arg(first).arg(who.newBase.size() - 1);
}

} // namespace espalier

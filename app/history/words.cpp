// SPDX-License-Identifier: MIT
#include "app/history/words.h"

#include "app/support/text.h"
#include "core/git/text.h"

#include <QCoreApplication>
#include <QLocale>

namespace espalier {

namespace {
QString tr(const char* text) { return QCoreApplication::translate("History", text); }
} // namespace

QString placeWord(Place place)
{
    switch (place) {
    case Place::Upstream:
        return tr("upstream");
    case Place::Fork:
        return tr("fork");
    case Place::Clone:
        break;
    }
    return tr("clone");
}

QString refLabel(const Ref& ref)
{
    if (ref.kind == RefKind::RemoteBranch && ref.place == Place::Fork)
        return tr("fork: %1").arg(toText(ref.branch));
    if (ref.kind == RefKind::RemoteBranch && ref.place == Place::Upstream)
        return tr("upstream: %1").arg(toText(ref.branch));
    constexpr std::string_view replacement = "replace/"; // and the whole id that it replaces
    if (ref.kind == RefKind::Other && ref.shortName.starts_with(replacement))
        return tr("replaces %1").arg(toText(ref.shortName.substr(replacement.size(), 7)));
    return toText(ref.shortName);
}

QString presenceText(Places places)
{
    const bool upstream = places & placeBit(Place::Upstream);
    const bool fork = places & placeBit(Place::Fork);
    const bool clone = places & placeBit(Place::Clone);
    if (upstream && fork && clone)
        return tr("in upstream, the fork and the clone");
    if (upstream && fork)
        return tr("in upstream and the fork, not in the clone");
    if (upstream && clone)
        return tr("in upstream and the clone, not in the fork");
    if (fork && clone)
        return tr("in the fork and the clone, not in upstream");
    if (upstream)
        return tr("in upstream only");
    if (fork)
        return tr("in the fork only");
    if (clone)
        return tr("in the clone only");
    return tr("in no branch");
}

QString shortAddress(const std::string& url)
{
    QString text = toText(url);
    while (text.endsWith(QLatin1Char('/')))
        text.chop(1);
    if (text.endsWith(QLatin1String(".git")))
        text.chop(4);
    const QStringList parts =
        text.replace(QLatin1Char(':'), QLatin1Char('/')).split(QLatin1Char('/'), Qt::SkipEmptyParts);
    return parts.mid(qMax(0, int(parts.size()) - 2)).join(QLatin1Char('/'));
}

QStringList alterations(const History& history, Row row, bool inFull)
{
    const auto words = [inFull](const char* brief, const char* full) {
        return QCoreApplication::translate("History", inFull ? full : brief);
    };
    QStringList found;
    if (history.isBoundary(row))
        found << words(QT_TRANSLATE_NOOP("History", "cut off here"),
                       QT_TRANSLATE_NOOP("History", "what is older is not in the clone (shallow)"));
    if (history.isGrafted(row))
        found << words(QT_TRANSLATE_NOOP("History", "grafted"),
                       QT_TRANSLATE_NOOP("History", "shown with other parents than it was made with (info/grafts)"));
    if (history.isReplaced(row))
        found << words(QT_TRANSLATE_NOOP("History", "replaced"),
                       QT_TRANSLATE_NOOP("History", "another object is read in its stead (refs/replace)"));
    return found;
}

QString foldedWords(const DisplayRow& shown)
{
    QString words = QString::fromStdString(counted(shown.folded, "commit", "commits"));
    if (shown.labels > 0)
        words += QStringLiteral(", ") + QString::fromStdString(counted(shown.labels, "label", "labels"));
    return words;
}

QString gapWords(const DisplayRow& shown)
{
    const quint64 count = quint64(shown.folded) + 1;
    QString words = count == 1 ? tr("1 commit") : tr("%1 commits").arg(QLocale().toString(count));
    if (shown.touching > 0)
        words += QStringLiteral(", ") + (shown.touching == 1
                                             ? tr("1 touches your files")
                                             : tr("%1 touch your files").arg(QLocale().toString(shown.touching)));
    if (shown.labels > 0)
        words += QStringLiteral(", ") + QString::fromStdString(counted(shown.labels, "label", "labels"));
    return words;
}

const Remote* remoteOf(const Snapshot& snapshot, Place place)
{
    if (place == Place::Clone)
        return nullptr;
    const std::string& name = place == Place::Upstream ? snapshot.roles.upstream : snapshot.roles.fork;
    for (const Remote& remote : snapshot.remotes)
        if (!name.empty() && remote.name == name)
            return &remote;
    return nullptr;
}

const Ref* branchAt(const Snapshot& snapshot, Row row)
{
    const Ref* found = nullptr;
    for (int at : snapshot.refsAt(row)) {
        const Ref& ref = snapshot.refs[std::size_t(at)];
        if (ref.kind != RefKind::Branch)
            continue;
        if (isHeadBranch(snapshot, ref))
            return &ref;
        if (!found)
            found = &ref;
    }
    return found;
}

bool isHead(const Snapshot& snapshot, Row row)
{
    return row < snapshot.history.size() && !snapshot.worktree.headTip.isZero() &&
           snapshot.history.id(row) == snapshot.worktree.headTip;
}

bool isHeadBranch(const Snapshot& snapshot, const Ref& ref)
{
    return !snapshot.worktree.detached && ref.name == snapshot.worktree.headBranch;
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/overwrite/check_words.h"

#include "app/support/text.h"

#include <QCoreApplication>
#include <QStringList>

#include <array>

namespace espalier {

namespace {
QString tr(const char* words) { return QCoreApplication::translate("OverwritePage", words); }

QString wordOf(CheckState state)
{
    switch (state) {
    case CheckState::Lost:
        return tr("LOST if overwritten");
    case CheckState::OnlyFork:
        return tr("only on the fork");
    case CheckState::Edited:
        return tr("edited");
    case CheckState::Reworded:
        return tr("reworded");
    case CheckState::Around:
        return tr("same lines");
    case CheckState::Same:
        return tr("same change");
    case CheckState::Landed:
        return tr("landed upstream");
    case CheckState::New:
        return tr("new");
    case CheckState::Kept:
        break;
    }
    return tr("stays");
}
} // namespace

QString stateWords(const CheckRow& row)
{
    return row.moved ? tr("%1, moved").arg(wordOf(row.state)) : wordOf(row.state);
}

QString stateMeaning(const CheckRow& row)
{
    QString words;
    switch (row.state) {
    case CheckState::Lost:
        words =
            tr("Somebody else's commit that your branch has no version of: the push takes it off the fork's branch.");
        break;
    case CheckState::OnlyFork:
        words = tr("Your own commit that the clone's branch has not, perhaps pushed from another computer. The logbook "
                   "keeps it.");
        break;
    case CheckState::Edited:
        words = tr(
            "The change is another now. What a reviewer will see as new in it, as the difference of the two changes:");
        break;
    case CheckState::Reworded:
        words = tr("The same change under another message or author:");
        break;
    case CheckState::Around:
        words = tr("The same lines are added and deleted; only what stands beside them, or a file's name, is other:");
        break;
    case CheckState::Same:
        words = tr("Same change: a reviewer sees nothing new in it, only the ID is another.");
        break;
    case CheckState::Landed:
        words = tr("The upstream has this change already, and the new version stands on it.");
        break;
    case CheckState::New:
        words = tr("Comes to the fork for the first time:");
        break;
    case CheckState::Kept:
        words = tr("Both versions have this very commit; it stays as it is.");
    }
    return row.moved ? words + QLatin1Char(' ') + tr("It stands at another place among the others than before.")
                     : words;
}

QString spokenRow(const CheckRow& row)
{
    const QString state = stateWords(row);
    QString words =
        tr("%1: %2").arg(state.left(1).toUpper() + state.mid(1), toText((row.now ? row.now : row.before)->subject));
    if (row.state == CheckState::Kept)
        return words + tr(", %1 on the fork and in the clone").arg(toText(row.now->id.brief()));
    if (row.before)
        words += tr(", %1 on the fork").arg(toText(row.before->id.brief()));
    if (row.now)
        words += (row.state == CheckState::Landed ? tr(", %1 upstream") : tr(", %1 in the clone"))
                     .arg(toText(row.now->id.brief()));
    if (row.before && !row.byUser)
        words += tr(", written by %1").arg(toText(row.before->author));
    return words;
}

QString joinSign(CheckState state)
{
    switch (state) {
    case CheckState::Edited:
        return QStringLiteral("\u2260");
    case CheckState::Reworded:
    case CheckState::Around:
        return QStringLiteral("\u2248");
    case CheckState::Same:
    case CheckState::Landed:
        return QStringLiteral("=");
    case CheckState::New:
        return QStringLiteral("+");
    default:
        return {};
    }
}

QString checkSummary(const std::vector<CheckRow>& rows)
{
    std::array<int, 9> counts{};
    for (const CheckRow& row : rows)
        ++counts[std::size_t(row.state)];
    QStringList parts;
    for (std::size_t state = 0; state < counts.size(); ++state)
        if (counts[state] > 0)
            parts << tr("%1 %2").arg(counts[state]).arg(wordOf(CheckState(state)));
    return parts.join(QStringLiteral(", "));
}

} // namespace espalier

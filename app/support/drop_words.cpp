// SPDX-License-Identifier: MIT
#include "app/support/drop_words.h"

#include <QCoreApplication>

namespace espalier {

namespace {
QString tr(const char* text) { return QCoreApplication::translate("Drop", text); }
} // namespace

DropAnswer answerDrop(const Snapshot& snapshot, const DragSource& source, const DropTarget& target)
{
    const History& history = snapshot.history;
    const Row tip = history.find(source.tip);
    const Row onto = history.find(target.commit);
    if (tip == noRow || onto == noRow)
        return {false, tr("Cannot be moved there: the commit is not in the picture any more")};
    if (tip == onto)
        return {false, tr("%1 ends here; it cannot stand on itself").arg(source.label)};
    const DropAnswer yes{true, tr("Replay %1 onto %2").arg(source.label, target.label)};
    if (source.wholeBranch)
        return yes;
    if (source.below == target.commit)
        return {false, tr("%1: already on top of this").arg(source.label)};
    // A commit of the dragged range cannot be its base.
    constexpr int longest = 10000;
    const Row below = history.find(source.below);
    Row row = tip;
    for (int steps = 0; row != below && steps < longest; ++steps) {
        if (row == onto)
            return {false, tr("%1: this commit is one of them").arg(source.label)};
        const auto parents = history.parents(row);
        if (parents.empty())
            break;
        row = parents[0];
    }
    return yes;
}

} // namespace espalier

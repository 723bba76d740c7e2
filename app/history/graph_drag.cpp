// SPDX-License-Identifier: MIT
#include "app/history/graph_drag.h"

#include "app/history/words.h"
#include "app/support/drop_words.h"
#include "app/support/text.h"
#include "core/git/text.h"

#include <QCoreApplication>

namespace espalier {

namespace {
QString tr(const char* text) { return QCoreApplication::translate("History", text); }
} // namespace

std::optional<DragSource> dragOfRef(const Snapshot& snapshot, int ref)
{
    if (ref < 0 || std::size_t(ref) >= snapshot.refs.size())
        return std::nullopt;
    const Ref& branch = snapshot.refs[std::size_t(ref)];
    if (branch.kind != RefKind::Branch)
        return std::nullopt;
    DragSource source;
    source.branch = branch.name;
    source.tip = branch.tip;
    source.wholeBranch = true;
    source.label = refLabel(branch);
    return source;
}

int branchHolding(const Snapshot& snapshot, Row row)
{
    const History& history = snapshot.history;
    if (row >= history.size())
        return -1;
    std::vector<bool> reaches(row + 1, false);
    reaches[row] = true;
    for (Row above = row; above-- > 0;)
        for (Row parent : history.parents(above))
            if (parent <= row && reaches[parent])
                reaches[above] = true;
    int found = -1;
    for (std::size_t at = 0; at < snapshot.refs.size(); ++at) {
        const Ref& ref = snapshot.refs[at];
        if (ref.kind != RefKind::Branch || ref.row > row || !reaches[ref.row])
            continue;
        if (isHeadBranch(snapshot, ref))
            return int(at);
        if (found < 0 || ref.row > snapshot.refs[std::size_t(found)].row)
            found = int(at);
    }
    return found;
}

std::optional<DragSource> dragOfRows(const Snapshot& snapshot, const std::vector<Row>& rows)
{
    const History& history = snapshot.history;
    if (rows.empty() || rows.front() >= history.size())
        return std::nullopt;
    constexpr int longest = 10000;
    Row row = rows.front();
    std::size_t next = 1;
    int count = 1;
    while (next < rows.size()) {
        const auto parents = history.parents(row);
        if (parents.empty() || ++count > longest)
            return std::nullopt;
        row = parents[0];
        if (row > rows[next])
            return std::nullopt;
        if (row == rows[next])
            ++next;
    }
    const auto below = history.parents(row);
    if (below.empty())
        return std::nullopt;
    DragSource source;
    source.tip = history.id(rows.front());
    source.below = history.id(below[0]);
    source.wholeBranch = false;
    const int branch = branchHolding(snapshot, rows.front());
    const QString number = QString::fromStdString(counted(std::size_t(count), "commit", "commits"));
    if (branch >= 0) {
        source.branch = snapshot.refs[std::size_t(branch)].name;
        source.label = tr("%1 of %2").arg(number, refLabel(snapshot.refs[std::size_t(branch)]));
    } else {
        source.label = count == 1 ? QString::fromStdString(source.tip.brief()) : number;
    }
    return source;
}

DropTarget targetAt(const Snapshot& snapshot, Row row, int ref, const QString& subject)
{
    DropTarget target;
    target.commit = snapshot.history.id(row);
    if (ref >= 0) {
        target.refName = snapshot.refs[std::size_t(ref)].name;
        target.label = toText(snapshot.refs[std::size_t(ref)].shortName); // as the board and the cards say it
    } else {
        target.label = (QString::fromStdString(target.commit.brief()) + QLatin1Char(' ') + subject).trimmed();
    }
    return target;
}

bool mayDrop(const Snapshot& snapshot, const DragSource& source, const Oid& target)
{
    return answerDrop(snapshot, source, {.commit = target, .refName = {}, .label = {}}).allowed;
}

} // namespace espalier

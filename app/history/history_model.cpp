// SPDX-License-Identifier: MIT
#include "app/history/history_model.h"

#include "app/history/words.h"
#include "app/support/text.h"

namespace espalier {

HistoryModel::HistoryModel(QObject* parent) : QAbstractTableModel(parent), m_loader(new SummaryLoader(this))
{
    connect(m_loader, &SummaryLoader::loaded, this, [this] {
        const int last = std::min(m_wantedLast, rowCount() - 1);
        if (m_wantedFirst <= last)
            Q_EMIT dataChanged(index(m_wantedFirst, Subject), index(last, Author));
    });
}

HistoryModel::~HistoryModel() = default;

void HistoryModel::set(const SnapshotPtr& snapshot, const LanesPtr& lanes)
{
    beginResetModel();
    m_snapshot = lanes ? snapshot : nullptr;
    m_lanes = snapshot ? lanes : nullptr;
    if (m_snapshot)
        m_loader->setRepository(m_snapshot->path);
    // The same rows may be other commits now.
    m_wantedFirst = 0;
    m_wantedLast = -1;
    endResetModel();
}

int HistoryModel::rowCount(const QModelIndex& parent) const
{
    return parent.isValid() || !m_lanes ? 0 : int(m_lanes->rowCount());
}

int HistoryModel::columnCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : ColumnCount; }

Row HistoryModel::rowAt(int displayRow) const
{
    return m_lanes && displayRow >= 0 ? m_lanes->displayed(std::size_t(displayRow)).row : noRow;
}

const RowSummary* HistoryModel::summary(int displayRow) const
{
    const Row row = rowAt(displayRow);
    return row == noRow ? nullptr : m_loader->find(m_snapshot->history.id(row));
}

void HistoryModel::want(int first, int last)
{
    first = std::max(0, first);
    last = std::min(last, rowCount() - 1);
    if (first == m_wantedFirst && last == m_wantedLast && m_loader->isIdle() && (last < first || summary(last)))
        return;
    m_wantedFirst = first;
    m_wantedLast = last;
    std::vector<Oid> ids;
    for (int at = first; at <= last; ++at)
        ids.push_back(m_snapshot->history.id(rowAt(at)));
    m_loader->want(std::move(ids));
}

QVariant HistoryModel::headerData(int section, Qt::Orientation orientation, int role) const
{
    if (orientation != Qt::Horizontal || role != Qt::DisplayRole)
        return {};
    switch (section) {
    case Graph:
        return tr("Graph");
    case Subject:
        return tr("Subject");
    case Author:
        return tr("Author");
    case Date:
        return tr("Date");
    }
    return {};
}

QVariant HistoryModel::data(const QModelIndex& index, int role) const
{
    const Row row = rowAt(index.row());
    if (row == noRow)
        return {};
    switch (role) {
    case Qt::DisplayRole: {
        const RowSummary* read = summary(index.row());
        switch (index.column()) {
        case Subject:
            return read ? read->subject : QString();
        case Author:
            return read ? read->author : QString();
        case Date:
            return relativeTime(m_snapshot->history.time(row));
        default:
            return {};
        }
    }
    case Qt::AccessibleTextRole:
        return spokenText(index.row());
    case Qt::ToolTipRole:
        return toToolTip(toolTip(index.row()));
    case RowRole:
        return QVariant::fromValue(quint32(row));
    case IdRole:
        return QString::fromStdString(m_snapshot->history.id(row).hex());
    case PresenceRole:
        return presenceText(m_snapshot->placesOf(row));
    case FoldedRole:
        return m_lanes->displayed(std::size_t(index.row())).folded;
    default:
        return {};
    }
}

QString HistoryModel::spokenText(int displayRow) const
{
    const Row row = rowAt(displayRow);
    if (row == noRow)
        return {};
    if (const DisplayRow shown = m_lanes->displayed(std::size_t(displayRow)); shown.gap)
        return tr("%1 lie here; Space opens them").arg(gapWords(shown));
    QStringList parts;
    for (int at : m_snapshot->refsAt(row)) {
        const Ref& ref = m_snapshot->refs[std::size_t(at)];
        parts << (isHeadBranch(*m_snapshot, ref) ? tr("%1, checked out").arg(refLabel(ref)) : refLabel(ref));
    }
    if (m_snapshot->worktree.detached && isHead(*m_snapshot, row))
        parts << tr("checked out here");
    if (const RowSummary* read = summary(displayRow))
        parts << read->subject << read->author;
    parts << relativeTime(m_snapshot->history.time(row)) << presenceText(m_snapshot->placesOf(row));
    if (const DisplayRow shown = m_lanes->displayed(std::size_t(displayRow)); shown.folded > 0)
        parts << tr("folded in: %1").arg(foldedWords(shown));
    if (m_lanes->beginsFold(std::size_t(displayRow)))
        parts << tr("a folded branch begins here");
    parts << alterations(m_snapshot->history, row, true);
    parts.removeAll(QString());
    return parts.join(QStringLiteral(", "));
}

QString HistoryModel::toolTip(int displayRow) const
{
    const Row row = rowAt(displayRow);
    if (row == noRow)
        return {};
    if (const DisplayRow shown = m_lanes->displayed(std::size_t(displayRow)); shown.gap)
        return tr("%1 lie here.\nA double click or Space opens them.").arg(gapWords(shown));
    QStringList lines;
    if (const RowSummary* read = summary(displayRow))
        lines << read->subject << tr("by %1").arg(read->author);
    lines << absoluteTime(m_snapshot->history.time(row), 0);
    lines << QString::fromStdString(m_snapshot->history.id(row).hex()) << presenceText(m_snapshot->placesOf(row));
    lines << alterations(m_snapshot->history, row, true);
    if (const DisplayRow shown = m_lanes->displayed(std::size_t(displayRow)); shown.folded > 0)
        lines << tr("folded in: %1").arg(foldedWords(shown));
    constexpr qsizetype mostRefs = 24;
    const std::vector<int> refs = m_snapshot->refsAt(row);
    for (std::size_t k = 0; k < std::min<std::size_t>(refs.size(), mostRefs); ++k)
        lines << refLabel(m_snapshot->refs[std::size_t(refs[k])]);
    if (refs.size() > mostRefs)
        lines << tr("and %n more", nullptr, int(refs.size() - mostRefs));
    return lines.join(QLatin1Char('\n'));
}

} // namespace espalier

// SPDX-License-Identifier: MIT
#include "app/dryrun/commit_list.h"

#include "app/dryrun/meaning.h"
#include "app/support/text.h"
#include "app/support/theme.h"

#include <QMimeData>
#include <QPainter>

namespace espalier {

namespace {
constexpr char rowType[] = "application/x-espalier-planned-commit";
}

void CommitListModel::setRun(const DryRunPtr& run)
{
    const bool sameRows = m_run && run && m_run->commits.size() == run->commits.size();
    if (!sameRows)
        beginResetModel();
    m_run = run;
    if (!sameRows)
        endResetModel();
    else if (rowCount() > 0)
        Q_EMIT dataChanged(index(0, 0), index(rowCount() - 1, ColumnCount - 1));
}

bool CommitListModel::isConflict(int row) const
{
    return m_run->commits[std::size_t(row)].outcome == Outcome::Conflict;
}

bool CommitListModel::isSettledConflict(int row) const
{
    const ReplayedCommit& commit = m_run->commits[std::size_t(row)];
    return commit.outcome != Outcome::Conflict && !commit.conflicts.empty();
}

bool CommitListModel::isGone(int row) const
{
    const ReplayedCommit& commit = m_run->commits[std::size_t(row)];
    return commit.treatment == Treatment::LeaveOut || commit.outcome == Outcome::Landed ||
           commit.outcome == Outcome::Empty;
}

int CommitListModel::rowCount(const QModelIndex& parent) const
{
    return parent.isValid() || !m_run ? 0 : int(m_run->commits.size());
}

int CommitListModel::columnCount(const QModelIndex&) const { return ColumnCount; }

QVariant CommitListModel::data(const QModelIndex& index, int role) const
{
    if (!index.isValid() || !m_run)
        return {};
    const auto row = std::size_t(index.row());
    const bool shows = role == Qt::DisplayRole;
    if (role == Qt::TextAlignmentRole)
        return int((index.column() == Number ? Qt::AlignRight : Qt::AlignLeft) | Qt::AlignVCenter);
    if (role == Qt::ToolTipRole)
        return toToolTip(data(index, Qt::DisplayRole).toString());
    if (role == Qt::AccessibleTextRole && index.column() == Subject)
        return QStringLiteral("%1, %2, %3")
            .arg(toText(m_run->commits[row].subject), outcomeText(*m_run, row).mid(2), detailText(*m_run, row));
    if (!shows)
        return {};
    switch (index.column()) {
    case Number:
        return index.row() + 1;
    case Subject: {
        const auto& message = m_run->plan.commits[row].newMessage;
        const QString subject = toText(m_run->commits[row].subject);
        return message ? tr("%1 (reworded)").arg(subject) : subject;
    }
    case Found:
        return outcomeText(*m_run, row);
    case Detail:
        return detailText(*m_run, row);
    default:
        return {};
    }
}

QVariant CommitListModel::headerData(int section, Qt::Orientation orientation, int role) const
{
    if (orientation != Qt::Horizontal || role != Qt::DisplayRole)
        return {};
    switch (section) {
    case Number:
        return QString();
    case Subject:
        return tr("Commit, oldest first");
    case Found:
        return tr("Outcome");
    default:
        return tr("Files and hunks");
    }
}

Qt::ItemFlags CommitListModel::flags(const QModelIndex& index) const
{
    if (!index.isValid())
        return Qt::ItemIsDropEnabled;
    return Qt::ItemIsEnabled | Qt::ItemIsSelectable | Qt::ItemIsDragEnabled;
}

QStringList CommitListModel::mimeTypes() const { return {QLatin1String(rowType)}; }

QMimeData* CommitListModel::mimeData(const QModelIndexList& indexes) const
{
    auto data = std::make_unique<QMimeData>();
    if (!indexes.isEmpty())
        data->setData(QLatin1String(rowType), QByteArray::number(indexes.first().row()));
    return data.release();
}

bool CommitListModel::dropMimeData(const QMimeData* data, Qt::DropAction, int row, int, const QModelIndex& parent)
{
    bool known = false;
    const int from = data->data(QLatin1String(rowType)).toInt(&known);
    int to = row >= 0 ? row : parent.isValid() ? parent.row() : rowCount();
    if (!known || from < 0 || from >= rowCount())
        return false;
    if (to > from)
        --to;
    if (to != from)
        Q_EMIT moveRequested(from, to);
    return false; // the view must not take the row away itself
}

CommitListDelegate::CommitListDelegate(const CommitListModel* model, QObject* parent)
    : QStyledItemDelegate(parent), m_model(model)
{
}

QSize CommitListDelegate::sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const
{
    const QSize text = QStyledItemDelegate::sizeHint(option, index);
    return {text.width() + option.fontMetrics.height(), int(option.fontMetrics.height() * 1.75)};
}

void CommitListDelegate::paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const
{
    const QPalette& colours = option.palette;
    const bool conflict = m_model->isConflict(index.row());
    const bool selected = option.state & QStyle::State_Selected;
    if (conflict)
        painter->fillRect(option.rect, theme::warningTint(colours));
    if (selected)
        painter->fillRect(option.rect, theme::selectionTint(colours));
    QFont font = option.font;
    QColor ink = colours.color(QPalette::Text);
    const int column = index.column();
    if (column == CommitListModel::Number || column == CommitListModel::Detail || m_model->isGone(index.row()))
        ink = theme::quiet(colours);
    if (column == CommitListModel::Found) {
        font.setBold(true);
        if (conflict)
            ink = theme::warning(colours);
        else if (!m_model->isGone(index.row()))
            ink = theme::success(colours);
    }
    if (column == CommitListModel::Subject && conflict)
        font.setBold(true);
    painter->setFont(font);
    painter->setPen(theme::fitted(ink, selected ? theme::selectionTint(colours) : colours.color(QPalette::Base), 4.5));
    const int inset = option.fontMetrics.height() / 2;
    const QRect room = option.rect.adjusted(inset, 0, -inset / 2, 0);
    const QString text = QFontMetrics(font).elidedText(
        index.data().toString(), column == CommitListModel::Detail ? Qt::ElideMiddle : Qt::ElideRight, room.width());
    painter->drawText(
        room, int(Qt::AlignVCenter) | int(column == CommitListModel::Number ? Qt::AlignRight : Qt::AlignLeft), text);
    if ((option.state & QStyle::State_HasFocus) && selected && column == CommitListModel::Subject) {
        painter->setPen(QPen(colours.color(QPalette::Highlight), 1.5));
        painter->setBrush(Qt::NoBrush);
        painter->drawRect(option.rect.adjusted(1, 1, -2, -2));
    }
}

} // namespace espalier

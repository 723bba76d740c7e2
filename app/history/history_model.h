// SPDX-License-Identifier: MIT
//
// The display rows of a layout as a table: graph, subject, author, date. Subjects are read when rows are shown (fetch them
// with want()); until then their text is empty.
#pragma once

#include "app/history/summary_loader.h"
#include "core/lanes/lanes.h"

#include <QAbstractTableModel>

namespace espalier {

class HistoryModel : public QAbstractTableModel {
    Q_OBJECT
  public:
    enum Column { Graph, Subject, Author, Date, ColumnCount };
    enum Role { RowRole = Qt::UserRole, IdRole, PresenceRole, FoldedRole };

    explicit HistoryModel(QObject* parent = nullptr);
    ~HistoryModel() override;

    // Both may be null.
    void set(const SnapshotPtr& snapshot, const LanesPtr& lanes);
    const SnapshotPtr& snapshot() const { return m_snapshot; }
    const LanesPtr& lanes() const { return m_lanes; }

    int rowCount(const QModelIndex& parent = {}) const override;
    int columnCount(const QModelIndex& parent = {}) const override;
    QVariant data(const QModelIndex& index, int role = Qt::DisplayRole) const override;
    QVariant headerData(int section, Qt::Orientation orientation, int role = Qt::DisplayRole) const override;

    // Has the summaries of these display rows read; dataChanged follows for them.
    void want(int first, int last);
    // Null while it is not read.
    const RowSummary* summary(int displayRow) const;
    // Null while it is not read.
    const RowSummary* summaryOfId(const Oid& id) const { return m_loader->find(id); }
    Row rowAt(int displayRow) const;
    bool isIdle() const { return m_loader->isIdle(); }
    // "topic/x, Label the axis in metres, Mira Sol, 2 days ago, in the clone only", for assistive technology.
    QString spokenText(int displayRow) const;
    // Everything about a row in plain lines, for a tooltip.
    QString toolTip(int displayRow) const;

  private:
    SnapshotPtr m_snapshot;
    LanesPtr m_lanes;
    SummaryLoader* m_loader;
    int m_wantedFirst = 0, m_wantedLast = -1;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The commits of a dry run as a table model, and the delegate that paints them. Rows can be dragged to another place;
// the model changes nothing itself, it only says what was asked for.
#pragma once

#include "app/session/session.h"

#include <QAbstractTableModel>
#include <QStyledItemDelegate>

namespace espalier {

class CommitListModel : public QAbstractTableModel {
    Q_OBJECT
  public:
    enum Column { Number, Subject, Found, Detail, ColumnCount };
    using QAbstractTableModel::QAbstractTableModel;

    void setRun(const DryRunPtr& run);
    bool isConflict(int row) const;
    bool isSettledConflict(int row) const;
    bool isGone(int row) const;

    int rowCount(const QModelIndex& parent = {}) const override;
    int columnCount(const QModelIndex& parent = {}) const override;
    QVariant data(const QModelIndex& index, int role = Qt::DisplayRole) const override;
    QVariant headerData(int section, Qt::Orientation orientation, int role = Qt::DisplayRole) const override;
    Qt::ItemFlags flags(const QModelIndex& index) const override;
    Qt::DropActions supportedDropActions() const override { return Qt::MoveAction; }
    QStringList mimeTypes() const override;
    QMimeData* mimeData(const QModelIndexList& indexes) const override;
    bool dropMimeData(const QMimeData* data, Qt::DropAction action, int row, int column,
                      const QModelIndex& parent) override;

  Q_SIGNALS:
    void moveRequested(int from, int to);

  private:
    DryRunPtr m_run;
};

class CommitListDelegate : public QStyledItemDelegate {
    Q_OBJECT
  public:
    CommitListDelegate(const CommitListModel* model, QObject* parent);
    void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
    QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override;

  private:
    const CommitListModel* m_model;
};

} // namespace espalier

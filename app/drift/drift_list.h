// SPDX-License-Identifier: MIT
//
// The board's list: says when a row is dragged, and beside the row that a drag hovers over what a drop there would do or why
// it cannot.
#pragma once

#include "app/support/drag.h"

#include <QListView>

namespace espalier {

class DriftModel;
class PlainLabel;

class DriftList : public QListView {
    Q_OBJECT
  public:
    explicit DriftList(DriftModel* model, QWidget* parent = nullptr);
    // Empty when nothing hovers.
    QString dropWords() const;

  Q_SIGNALS:
    void dragBegan(const espalier::DragSource& what);
    void dragEnded(bool taken);

  protected:
    void startDrag(Qt::DropActions actions) override;
    void dragEnterEvent(QDragEnterEvent* event) override;
    void dragMoveEvent(QDragMoveEvent* event) override;
    void dragLeaveEvent(QDragLeaveEvent* event) override;
    void dropEvent(QDropEvent* event) override;

  private:
    void sayAt(const QModelIndex& index, const DragSource& source);

    DriftModel* m_drift;
    PlainLabel* m_says;
};

} // namespace espalier

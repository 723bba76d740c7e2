// SPDX-License-Identifier: MIT
//
// Paints a row of the drift board: name, diverging bar on the shared axis, forecast and the state of the fork's copy.
#pragma once

#include <QStyledItemDelegate>

namespace espalier {

class DriftModel;

class DriftDelegate : public QStyledItemDelegate {
    Q_OBJECT
  public:
    explicit DriftDelegate(const DriftModel* model, QObject* parent = nullptr);
    void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
    QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override;

    // Where the axis stands in a row of that width; the board's header aligns its words with it.
    static int axisAt(int width);

  private:
    const DriftModel* m_model;
};

} // namespace espalier

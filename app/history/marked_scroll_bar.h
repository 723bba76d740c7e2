// SPDX-License-Identifier: MIT
//
// A scroll bar that shows in its groove where in the whole history the matches of a search are.
#pragma once

#include <QScrollBar>

#include <map>
#include <vector>

namespace espalier {

class MarkedScrollBar : public QScrollBar {
    Q_OBJECT
  public:
    explicit MarkedScrollBar(QWidget* parent = nullptr) : QScrollBar(Qt::Vertical, parent) {}
    // Sorted rows out of `rowCount`.
    void setMarks(std::vector<int> rows, int rowCount);
    // How many rows are marked at each height of the bar that has any, from the top.
    std::map<int, int> marks() const;

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    QRect groove() const;
    std::vector<int> m_rows;
    int m_rowCount = 0;
};

} // namespace espalier

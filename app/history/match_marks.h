// SPDX-License-Identifier: MIT
//
// The strip beside the scroll bar that shows where in the whole history the matches of a search are.
#pragma once

#include <QWidget>

#include <vector>

namespace espalier {

class MatchMarks : public QWidget {
    Q_OBJECT
  public:
    explicit MatchMarks(QWidget* parent = nullptr) : QWidget(parent) {}
    // Sorted rows out of `rowCount`.
    void setMatches(std::vector<int> rows, int rowCount);
    QSize sizeHint() const override { return {8, 0}; }

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    std::vector<int> m_rows;
    int m_rowCount = 0;
};

} // namespace espalier

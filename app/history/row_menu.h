// SPDX-License-Identifier: MIT
//
// What can be done with a row of the graph, or with one of its labels; answers through the view's signals.
#pragma once

#include "app/history/graph_view.h"
#include "app/history/summary_loader.h"

#include <QMenu>

namespace espalier {

class RowMenu : public QMenu {
    Q_OBJECT
  public:
    // `ref`: the label the menu was asked for on, or -1. `summary` may be null.
    RowMenu(const Snapshot& snapshot, const std::vector<Row>& selected, Row row, int ref, const RowSummary* summary,
            GraphView* view);

  private:
    void addReplay(const Snapshot& snapshot, const std::vector<Row>& selected, Row row, int ref);
    void addBranch(const Snapshot& snapshot, Row row, int ref);
    void addForkVersions(const Snapshot& snapshot, Row row, int ref);
    void addCopies(const Snapshot& snapshot, Row row, const RowSummary* summary);

    GraphView* m_view;
};

} // namespace espalier

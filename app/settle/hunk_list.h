// SPDX-License-Identifier: MIT
//
// The conflicts of one commit as a list: files, and their hunks with what was decided. Private to app/settle.
#pragma once

#include "app/settle/commit_conflicts.h"

#include <QTreeWidget>

#include <vector>

namespace espalier {

QString choiceText(Choice choice);

class HunkList : public QTreeWidget {
    Q_OBJECT
  public:
    explicit HunkList(QWidget* parent = nullptr);

    void setFiles(const std::vector<OneConflict>& files);
    void setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement);
    void setCurrent(int file, int hunk);

  Q_SIGNALS:
    void chosen(int file, int hunk);
};

} // namespace espalier

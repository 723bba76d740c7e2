// SPDX-License-Identifier: MIT
//
// The conflicts of one commit as a list: files, their hunks with what was decided, and edits that wait to be looked at.
// Private to app/settle.
#pragma once

#include "core/conflicts/commit_conflicts.h"

#include <QTreeWidget>

#include <functional>
#include <vector>

namespace espalier {

QString choiceText(Choice choice);

class HunkList : public QTreeWidget {
    Q_OBJECT
  public:
    explicit HunkList(QWidget* parent = nullptr);

    void setFiles(const std::vector<OneConflict>& files);
    // `offerFor` says what is offered for a hunk; null for none.
    void setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement,
                      const std::function<const HunkOffer*(int hunk)>& offerFor);
    void setCurrent(const ConflictPlace& place);

  Q_SIGNALS:
    void chosen(const espalier::ConflictPlace& place);

  private:
    void setState(QTreeWidgetItem* row, bool open, const QString& words);
    void showWaiting(QTreeWidgetItem* file, int hunks, const FileSettlement& settlement);
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// The whole replay as one list: commits with conflicts, their files, hunks with what was decided, and edits that wait to be looked
// at; of the commit that is shown with all that the page knows of it, of the others as the dry run has them. Filtered by words, and to
// what is undecided. Private to app/settle.
//
//     list->setReplay(replayOutline(*run, settlements), shown.commit);
//     list->setFiles(shown.files);
#pragma once

#include "core/conflicts/commit_conflicts.h"
#include "core/conflicts/replay_outline.h"

#include <QTreeWidget>

#include <functional>
#include <vector>

namespace espalier {

QString choiceText(Choice choice);

class HunkList : public QTreeWidget {
    Q_OBJECT
  public:
    explicit HunkList(QWidget* parent = nullptr);

    // `current` is the index in the run of the commit that is shown. Rows stay while their questions do.
    void setReplay(std::vector<CommitOutline> commits, std::size_t current);
    // Those of the shown commit.
    void setFiles(const std::vector<OneConflict>& files);
    // `offerFor` says what is offered for a hunk; null for none.
    void setDecisions(int file, const OneConflict& conflict, const FileSettlement& settlement,
                      const std::function<const HunkOffer*(int hunk)>& offerFor);
    // What looks wrong in what the file of the shown commit was settled to: a row each, behind its hunks. Of other commits' files
    // setReplay() has them.
    void setRemarks(int file, const std::vector<Remark>& remarks);
    void setCurrent(const ConflictPlace& place);
    // Rows with these words in their path or their commit's subject or id; `undecided`: of these only what is so, and where the
    // user is.
    void setFilter(const QString& words, bool undecided);
    // After what is decided has changed.
    void refilter() { filter(); }

    // Of the shown commit; null where there is none.
    QTreeWidgetItem* fileItem(int file) const;
    int fileCount() const;
    // By index in the run; null for one without conflicts.
    QTreeWidgetItem* commitItem(std::size_t commit) const;

  Q_SIGNALS:
    void chosen(const espalier::ConflictPlace& place);
    // A row of another commit: of it, of a file (`path` is its SettlementKey's) and of a hunk, -1 where it is none.
    void chosenElsewhere(std::size_t commit, const espalier::SettlementKey& key, int hunk);
    // The row of a remark of the shown commit's; `index` of those that setRemarks() was given.
    void remarkChosen(int file, int index);

  private:
    void choose(QTreeWidgetItem* item);
    void showCommit(QTreeWidgetItem* item, const CommitOutline& commit);
    void addFiles(QTreeWidgetItem* item, const CommitOutline& commit);
    void setState(QTreeWidgetItem* row, bool open, const QString& words);
    void showWaiting(QTreeWidgetItem* file, int hunks, const FileSettlement& settlement);
    void filter();

    std::vector<CommitOutline> m_commits; // a top row each
    std::size_t m_shown = 0;              // index in the run
    QString m_words;
    bool m_undecidedOnly = false;
};

} // namespace espalier

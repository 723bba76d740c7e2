// SPDX-License-Identifier: MIT
//
// The dry run page's widgets and what it does with them. Private to dry_run_page.cpp and dry_run_page_layout.cpp.
#pragma once

#include "app/dryrun/commit_list.h"
#include "app/dryrun/dry_run_page.h"
#include "app/support/text.h"

class QCheckBox;
class QComboBox;
class QHBoxLayout;
class QLineEdit;
class QPlainTextEdit;
class QPushButton;
class QToolButton;
class QTreeView;
class QVBoxLayout;

namespace espalier {

struct DryRunPage::Private {
    Private(DryRunPage* page, Session* s, ReplayFlow* f) : q(page), session(s), flow(f) {}

    DryRunPage* q;
    Session* session;
    ReplayFlow* flow;
    DryRunPtr run;
    std::vector<StackedBranch> stacked; // as planned, before the user chose not to carry them
    std::vector<PlannedCommit> asBegun; // before the user edited anything
    int selectAfter = -1;
    int rewording = -1;

    PlainLabel *title, *state, *meaning;
    NoticeBar* notice;
    NoticeBar* wrong; // what looks wrong in what was settled; while it does, nothing is applied
    CommitListModel* model;
    QTreeView* list;
    QToolButton *up, *down, *leaveOut, *fold, *foldQuietly, *reword, *gather, *walk;
    QWidget *tools, *rewordBox;
    QPlainTextEdit* message;
    QPushButton *useMessage, *keepMessage;
    QCheckBox* carryStacked;
    QComboBox* merges;
    QVBoxLayout* cautions;
    QLineEdit* command;
    QToolButton* copy;
    QPushButton *settle, *apply, *close;

    void build();
    QHBoxLayout* buildHead();
    QWidget* buildTools();
    QWidget* buildReword();
    QHBoxLayout* buildOptions();
    QHBoxLayout* buildButtons();
    void connectAll();
    QToolButton* tool(const QString& text, const QString& tip, const QKeySequence& key = {});
    void dress();

    // While a dry run is on its way the row that will be chosen counts: several edits may be asked for before it is there.
    int current() const
    {
        return selectAfter >= 0 ? selectAfter : list->currentIndex().isValid() ? list->currentIndex().row() : -1;
    }
    void update();
    void updateTools();
    void updateTexts();
    void updateRemarks();
    bool isEdited() const;
    void edit(Result<Plan> plan, int select);
    void move(int from, int to);
    void treat(Treatment treatment);
    void beginReword();
    void endReword(bool use);
    void gatherFixups();
    void planAgain(MergeCommits how);
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// One commit (or the difference of two, or what is not committed yet) in full: message, people, parents, where it is, changed
// files and their diff.
// Loads in the background; what was asked for last is shown.
//
//     connect(graph, &GraphView::currentChanged, panel, [=](Row row) { panel->showRow(row); });
#pragma once

#include "core/history/snapshot.h"

#include <QWidget>

#include <memory>

namespace espalier {

class CommitPanel : public QWidget {
    Q_OBJECT
  public:
    explicit CommitPanel(QWidget* parent = nullptr);
    ~CommitPanel() override;

    void setSnapshot(const SnapshotPtr& snapshot);
    // noRow clears the panel.
    void showRow(Row row);
    void showCommit(const Oid& id);
    // What changed from one to the other.
    void compare(const Oid& older, const Oid& newer);
    // Two versions of a branch: which commit became which, and what changed in each change.
    void compareVersions(const Oid& before, const Oid& now);
    // What is changed in the worktree and not committed. Read again with each call; the file that is looked at stays so.
    void showLocalChanges();
    bool isOnLocalChanges() const;
    // The patch of the commit shown, or what leads from one compared commit to the other, goes to the clipboard once it has been
    // read; nothing happens for two versions of a branch.
    void copyPatch();

  Q_SIGNALS:
    // A parent was chosen.
    void commitRequested(const espalier::Oid& id);
    void failed(const QString& line);
    // The panel shows all it has to show.
    void loaded();

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

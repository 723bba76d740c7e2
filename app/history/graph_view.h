// SPDX-License-Identifier: MIT
//
// The picture: filter bar, band headers and the list of commits with their lanes. Shows a snapshot and its lanes; holds no
// repository state of its own. All signals come from the GUI thread.
//
//     connect(session, &Session::snapshotChanged, view, [=] { view->setSnapshot(session->snapshot(), session->lanes()); });
//     connect(view, &GraphView::replayRequested, …);
#pragma once

#include "app/history/ghost.h"
#include "app/support/drag.h"
#include "core/history/local_changes.h"
#include "core/lanes/lanes.h"

#include <QWidget>

#include <memory>
#include <optional>
#include <vector>

namespace espalier {

class GraphView : public QWidget {
    Q_OBJECT
  public:
    explicit GraphView(QWidget* parent = nullptr);
    ~GraphView() override;

    // Both may be null (nothing opened yet); `lanes` is the layout of everything, with foldTagged. What is folded, focused or filtered is laid
    // out here, in the background. Keeps the current commit, the selection and the scroll position where the commits still
    // exist.
    void setSnapshot(const SnapshotPtr& snapshot, const LanesPtr& lanes);
    // The newest rows while the rest is still being read, for looking only; setSnapshot takes their place.
    void showFirstRows(const SnapshotPtr& snapshot, const LanesPtr& lanes);
    SnapshotPtr snapshot() const;
    // Rows of a planned replay above its new base; an empty ghost takes them away.
    void setGhost(const ReplayGhost& ghost);

    // What is not committed has a row above the commit that is checked out while there is anything; nothing where it has not
    // been counted.
    void setLocalChanges(const std::optional<LocalChanges>& changes);
    // Chosen in place of a commit; currentRow() is noRow then.
    bool isOnLocalChanges() const;
    // noRow when there is none.
    Row currentRow() const;
    // Newest first; holds at least the current row when there is one.
    std::vector<Row> selectedRows() const;
    // Makes the row current and brings it into view; opens the fold and leaves the filter that hides it.
    void goTo(Row row);
    void goToId(const Oid& id);
    // The nearest row below (1) or above (-1) the current one in the same band.
    void goToNextOfPlace(int direction);
    // Focus on a branch (its divergence only); noRow shows everything again.
    void focusOn(Row tip);
    bool isFocused() const;
    void setFolded(bool fold);
    bool isFolded() const;
    // Folds more: all but what concerns the user. For the first look at a large history; a line says so and how to see
    // everything. Ends with setFolded().
    void foldAroundUser();
    bool isFoldedAroundUser() const;

    // While something is dragged: shows only what the question "where could it stand" needs, when that is less than what is
    // shown and the list is longer than the screen. scatter() springs back to where one was. Both may be called at any time.
    void gatherFor(const DragSource& source);
    void scatter();
    // After a drop: stays gathered, for the ghost, until scatter().
    void holdGathered();
    bool isGathered() const;

    // The keyboard's way of dragging: the next commit or label chosen (arrows and Enter, or a click) is the new base.
    void beginReplayOnto(const DragSource& source);
    // What a drag of the selection would carry; an empty label when nothing can be replayed.
    DragSource selectedSource() const;

    // Fold, focus and columns: for the repository's own settings. An empty state shows everything and leaves the columns.
    QByteArray saveState() const;
    void restoreState(const QByteArray& state);

  public Q_SLOTS:
    void findNext();
    void findPrevious();
    void focusFilter();

  Q_SIGNALS:
    // Also noRow, when the local changes are chosen.
    void currentChanged(espalier::Row row);
    void selectionChanged();
    void replayRequested(const espalier::DragSource& what, const espalier::DropTarget& onto);
    void checkOutRequested(const QString& fullRef);
    void createBranchRequested(const espalier::Oid& at);
    void renameRequested(const QString& fullRef);
    void deleteRequested(const QString& fullRef);
    // Old first.
    void compareRequested(const espalier::Oid& older, const espalier::Oid& newer);
    // The tips of two versions of a branch.
    void versionsRequested(const espalier::Oid& before, const espalier::Oid& now);
    // Enter or a double click on a commit.
    void activated(espalier::Row row);
    // A drag out of the list.
    void dragBegan(const espalier::DragSource& what);
    void dragEnded();
    // The picture is gathered, or has sprung back.
    void gatheredChanged(bool gathered);
    void said(const QString& line);

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

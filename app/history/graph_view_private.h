// SPDX-License-Identifier: MIT
// What GraphView consists of, shared by its files alone.
#pragma once

#include "app/history/graph_view.h"
#include "app/support/work.h"
#include "core/history/search.h"
#include "core/lanes/lanes.h"

#include <QPointer>
#include <QTimer>

namespace espalier {

class FilterBar;
class GraphHeader;
class GraphList;
class HistoryModel;
class NoticeBar;

// A picture of which to gather around a topic.
struct Gathering {
    Oid tip;
    std::vector<Row> touching; // of `of`
    SnapshotPtr of;
    bool searched = false; // `touching` is known
};

struct GraphView::Private {
    GraphView* q;
    FilterBar* filter = nullptr;
    NoticeBar* hint = nullptr;
    GraphHeader* header = nullptr;
    HistoryModel* model = nullptr;
    GraphList* list = nullptr;

    SnapshotPtr snapshot;
    LanesPtr everything;     // the layout of all rows, with what only tags reach folded
    LanesOptions options;    // what is shown, in rows of `snapshot`
    bool folded = false;     // what the user chose
    Oid focus;               // zero: no focus
    std::vector<Oid> opened; // folds that the user has opened; ids outlive a snapshot
    SearchQuery query;
    std::vector<Row> matches;
    Oid wantedCurrent; // to go to when the new layout is there
    QPointer<Work> layingOut, searching;
    int layoutCount = 0, searchCount = 0; // of what was asked for; only the last answer counts
    bool ownOnly = false;                 // folded around what concerns the user

    std::optional<Gathering> gathering; // while something is dragged
    bool held = false;                  // the drop has been; the ghost is looked at
    bool isGathered = false;            // the gathered picture is what is to be seen
    LanesPtr lanesBefore;               // what was to be seen, and where
    Oid currentBefore;
    int scrolledTo = 0;
    std::optional<Gathering> focused; // the same for a focus
    // What the focus parts, walked through the history for off the GUI thread.
    struct {
        SnapshotPtr of;
        Oid tip;
        std::shared_ptr<const Focus> rows;
    } parting;
    std::vector<Oid> openedBefore;
    QPointer<Work> touchSearch;
    Oid touchTip; // whose it is
    int touchCount = 0;
    ReplayGhost ghost; // of the dry run that is open; not to be seen while another question is asked
    QTimer roomChanged;
    LanesPtr later; // gathered anew with what was found meanwhile; shown when the drag is over no row

    bool isPlain() const { return !options.fold && options.only.empty() && !options.gather && options.opened.empty(); }
    void show(const LanesPtr& lanes);
    void tellCurrent();
    // WhenFree: while something is dragged no row moves away from under the pointer. AtOnce: it was asked for there.
    enum class Shows { WhenFree, AtOnce };
    void layOutAgain(WorkPriority priority = WorkPriority::Shown, Shows shows = Shows::WhenFree);
    bool isGathering() const { return gathering && snapshot->history.find(gathering->tip) != noRow; }
    bool knowsParting() const { return parting.of == snapshot && parting.tip == focus; }
    void findParting(WorkPriority priority);
    void findTouchingOf(const Gathering& asked);
    void endGathering();
    void findOptions();
    void startSearch();
    void showMatches();
    void step(int direction);
    void toggleFold(int display);
    void goTo(Row row);
    bool openTowards(Row row);
    QString focusName() const;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// Paints rows of the history: bands, lines, presence marks, labels and texts. Holds colours and measures only; what to
// paint is handed in.
#pragma once

#include "app/history/ghost.h"
#include "app/history/graph_geometry.h"
#include "app/history/history_model.h"
#include "app/history/ref_labels.h"

#include <QDateTime>
#include <QPainter>
#include <QPalette>
#include <QPixmap>

namespace espalier {

// One row on the screen: a display row of the layout, a ghost (index into the ghost's commits, newest first), or the local
// changes.
struct ViewRow {
    int display = -1;
    int ghost = -1;
    bool local = false;
    int top = 0; // of the row, in the viewport
};

// What is changed and not committed: a row of its own above the commit that is checked out.
struct LocalRow {
    int display = -1; // of that commit; -1 when there is no such row
    LanePosition lane;
    bool apart =
        false; // in a spare lane of the clone's band, because the commit's own goes on upwards or is not the clone's
    bool conflicted = false;
    QString words; // "3 changed, 1 untracked"
};

// Where the columns beside the graph begin and how wide they are; a width of 0 hides one.
struct Columns {
    int subject = 0, subjectWidth = 0;
    int author = 0, authorWidth = 0;
    int date = 0, dateWidth = 0;
};

// What the user has set by dragging the edges of the headings; negative: by the font and the room there is.
struct ColumnWidths {
    int author = -1, date = -1;
    double lanes = -1; // the part of the width that the lanes may take
};

class GraphPainter {
  public:
    // Looks up every colour anew; call when font or palette has changed.
    void setLook(const QFont& font, const QPalette& palette);
    void setGeometry(const GraphGeometry& geometry) { m_geometry = geometry; }
    const GraphGeometry& geometry() const { return m_geometry; }
    static Columns columnsFor(const QFontMetrics& metrics, const GraphGeometry& geometry, int width,
                              const ColumnWidths& wanted = {});

    void paintBands(QPainter& painter, const QRect& area) const;
    // Lines and marks of consecutive rows.
    void paintGraph(QPainter& painter, const HistoryModel& model, const ReplayGhost& ghost, int ghostDisplay,
                    const LocalRow& local, const std::vector<ViewRow>& rows) const;
    // Texts of one row. `dropLabel` is the ref whose label is the target of a drag, or -1.
    void paintTexts(QPainter& painter, const HistoryModel& model, const ViewRow& row, const Columns& columns,
                    bool isMatch, int dropLabel) const;
    void paintGhostTexts(QPainter& painter, const ReplayGhost& ghost, const ViewRow& row, const Columns& columns) const;
    void paintLocalTexts(QPainter& painter, const LocalRow& local, const ViewRow& row, const Columns& columns) const;
    // The outline of a replay's result over the rows above `target`, while a drag hovers there.
    void paintPreview(QPainter& painter, QPointF target, int commits) const;
    // The labels of a row, for painting and for finding what the pointer is on.
    std::vector<RefLabel> labelsOf(const HistoryModel& model, const ViewRow& row, const Columns& columns) const;
    QColor colourOf(LanePosition position) const;
    // The presence mark of a commit, for pictures of their own (app/overwrite). The painter's geometry gives its size.
    void paintMark(QPainter& painter, QPointF middle, Places places, bool isHead, bool isGhost) const;
    void setNow(const QDateTime& now) { m_now = now; }

  private:
    struct Run;
    int paintPill(QPainter& painter, const QString& words, int left, const ViewRow& row, const Columns& columns) const;
    void paintJoin(QPainter& painter, qreal from, const ViewRow& row, QPointF node) const;
    void paintRowLines(QPainter& painter, const std::vector<LaneEdge>& edges, const ViewRow& row,
                       std::vector<Run>& runs) const;
    void paintCurve(QPainter& painter, QPointF node, QPointF end, const LaneEdge& edge) const;
    void paintStub(QPainter& painter, QPointF node, const LaneEdge& edge) const;
    void paintFoldBegin(QPainter& painter, QPointF node, LanePosition lane) const;
    void paintGap(QPainter& painter, QPointF node, LanePosition lane) const;
    void drawMark(QPainter& painter, QPointF middle, Places places, bool isHead, bool isGhost) const;
    QPen penFor(const LaneEdge& edge) const;

    GraphGeometry m_geometry;
    QFont m_font;
    LabelLook m_labels;
    // Presence marks by what they show; drawn once for each scale of the screen.
    mutable std::array<QPixmap, 32> m_marks;
    QFont m_italic;
    QPalette m_palette;
    std::array<QColor, 3> m_place, m_tint;
    std::array<QColor, 16> m_lane;
    QColor m_quiet, m_match, m_hollow;
    QDateTime m_now = QDateTime::currentDateTime();
};

} // namespace espalier

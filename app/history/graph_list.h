// SPDX-License-Identifier: MIT
//
// The list of commits with their lanes: uniform rows, painted by hand, only what is visible. Selection by commit, so that
// it survives a new snapshot. Part of GraphView.
#pragma once

#include "app/history/graph_painter.h"
#include "app/support/drag.h"

#include <QAbstractScrollArea>
#include <QTimer>

#include <optional>
#include <set>

namespace espalier {

class MarkedScrollBar;

// The edges that can be moved: between lanes and subject, left of the authors, left of the dates.
enum class ColumnEdge { Lanes, Author, Date };

class GraphList : public QAbstractScrollArea {
    Q_OBJECT
  public:
    GraphList(HistoryModel* model, QWidget* parent = nullptr);
    ~GraphList() override;

    HistoryModel* model() const { return m_model; }
    const GraphGeometry& geometryOfGraph() const { return m_painter.geometry(); }
    Columns columns() const;
    // Kept within what leaves every column readable.
    void setWidths(const ColumnWidths& widths);
    const ColumnWidths& widths() const { return m_widths; }
    // Puts an edge there, in pixels of the viewport, or where the font and the room have it.
    void moveEdge(ColumnEdge edge, int x);
    void resetEdge(ColumnEdge edge);

    // To be called around a change of the model's contents: keeps current, selection and what stands at the top.
    void setContents(const SnapshotPtr& snapshot, const LanesPtr& lanes);
    void setGhost(const ReplayGhost& ghost);
    // In words; empty when all is as committed. Has a row of its own, which can be chosen.
    void setLocalChanges(const QString& words, bool conflicted);
    bool hasLocalRow() const { return m_local.display >= 0; }
    // Chosen instead of a commit: current() is -1 then.
    bool isOnLocalRow() const { return m_onLocal && hasLocalRow(); }
    void chooseLocalRow();
    QRect rectOfLocalRow() const; // in the viewport
    QString localWords() const;   // as they are read out
    // Display rows that match a search, sorted; marked in the list and in the scroll bar.
    void setMatches(std::vector<int> displayRows);
    const std::vector<int>& matches() const { return m_matches; }

    int current() const { return m_current; } // display row; -1 when none
    Row currentRow() const { return m_model->rowAt(m_current); }
    std::vector<Row> selectedRows() const;
    void setCurrent(int displayRow, bool keepSelection = false);
    // The nearest row in the current one's band, below (1) or above (-1); -1 when there is none.
    int nextOfPlace(int direction) const;
    void ensureVisible(int displayRow);
    void centre(int displayRow);

    // Rows that the height of the list has room for.
    int roomForRows() const;
    // A drag is over a row, whether that takes it or not: it should stay under the pointer.
    bool isHovered() const { return m_dragged && (m_target.display >= 0 || m_refused.display >= 0); }
    // What is said beside the row that a drag hovers over; empty when none does.
    QString dropWords() const;

    void beginPicking(const DragSource& source);
    void endPicking();
    bool isPicking() const { return m_picking.has_value(); }
    std::optional<DragSource> selectedSource() const;

    // The rows on the screen, for painting and for assistive technology.
    std::vector<ViewRow> visibleRows() const;
    // Where a display row is in the viewport; may lie outside of it.
    QRect rectOf(int displayRow) const;
    // Rows as assistive technology counts them: all display rows, with the local changes' among them, -1 here.
    int spokenCount() const { return m_model->rowCount() + (hasLocalRow() ? 1 : 0); }
    int spokenAt(int index) const;
    int indexOfSpoken(int displayRow) const;
    int displayAt(QPoint position) const; // -1 over ghosts and below the last row

  Q_SIGNALS:
    void currentChanged();
    void selectionChanged();
    void geometryChanged();
    void activated(int displayRow);
    void foldToggled(int displayRow);
    void menuRequested(const QPoint& globalPosition, int displayRow, int ref);
    void replayRequested(const espalier::DragSource& what, const espalier::DropTarget& onto);
    void pickingChanged(const QString& hint); // empty when it has ended
    void rowShown(int first, int last);
    // A drag out of the list; `taken`: it was dropped where something takes it.
    void dragBegan(const espalier::DragSource& what);
    void dragEnded(bool taken);
    // The drag is over no row any more.
    void hoverLeft();
    // roomForRows() is another.
    void roomChanged();

  protected:
    void paintEvent(QPaintEvent* event) override;
    void resizeEvent(QResizeEvent* event) override;
    void changeEvent(QEvent* event) override;
    bool viewportEvent(QEvent* event) override;
    void scrollContentsBy(int dx, int dy) override;
    void keyPressEvent(QKeyEvent* event) override;
    void focusInEvent(QFocusEvent* event) override;
    void focusOutEvent(QFocusEvent* event) override;
    void mousePressEvent(QMouseEvent* event) override;
    void mouseMoveEvent(QMouseEvent* event) override;
    void mouseReleaseEvent(QMouseEvent* event) override;
    void mouseDoubleClickEvent(QMouseEvent* event) override;
    void contextMenuEvent(QContextMenuEvent* event) override;
    void dragEnterEvent(QDragEnterEvent* event) override;
    void dragMoveEvent(QDragMoveEvent* event) override;
    void dragLeaveEvent(QDragLeaveEvent* event) override;
    void dropEvent(QDropEvent* event) override;

  private:
    struct Hover {
        int display = -1;
        int ref = -1;
        friend bool operator==(const Hover&, const Hover&) = default;
    };
    void updateLook();
    void updateGeometryOfGraph(bool mayShrink);
    void updateScrollBar();
    void fetchVisible();
    int ghostCount() const { return m_ghostDisplay < 0 ? 0 : int(m_ghost.commits.size()); }
    int localCount() const { return hasLocalRow() ? 1 : 0; }
    int totalRows() const { return m_model->rowCount() + ghostCount() + localCount(); }
    int topOf(int displayRow) const; // in the contents
    int localIndex() const;          // of all rows
    bool isLocalAt(QPoint position) const;
    void placeLocalRow();
    bool moveOverLocalRow(int key);
    ViewRow viewRow(int index) const;
    Hover hoverAt(QPoint position) const;
    void selectTo(int displayRow);
    void toggle(int displayRow);
    void moveTo(int displayRow, Qt::KeyboardModifiers modifiers);
    int firstParent() const;
    int firstChild() const;
    void startDrag();
    void setDropTarget(const DragSource* source, Hover target);
    void hoverOver(QPoint position);
    void scrollAtEdge();
    void countPreview(const DragSource& source, const Oid& onto);
    void paintHint(QPainter& painter) const;
    void paintRowBacks(QPainter& painter, const std::vector<ViewRow>& rows) const;
    void announceCurrent();

    HistoryModel* m_model;
    GraphPainter m_painter;
    ColumnWidths m_widths;
    ReplayGhost m_ghost;
    int m_ghostDisplay = -1;
    LocalRow m_local;
    bool m_onLocal = false, m_hoversLocal = false;
    std::vector<int> m_matches;
    int m_current = -1;
    int m_anchor = -1;
    std::set<int> m_selected;
    Hover m_hover;
    Hover m_pressed;
    QPoint m_pressedAt;
    bool m_mayDrag = false;

    std::optional<DragSource> m_picking;
    std::optional<DragSource> m_dragged; // what hovers over the list, or is being picked for
    Hover m_target;
    Hover m_refused; // hovered over, and may not be dropped on
    int m_previewCommits = 0;
    int m_room = 0;      // for rows, at the last size
    QTimer m_edgeScroll; // while a drag hovers near an edge
    QTimer m_opening;    // a gap that is hovered over for a while opens
    QPoint m_dragAt;
    QTimer m_shrink;
    MarkedScrollBar* m_bar;
};

} // namespace espalier

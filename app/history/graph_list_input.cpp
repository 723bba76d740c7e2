// SPDX-License-Identifier: MIT
//
// GraphList's keyboard, pointer and drags.
#include "app/history/graph_drag.h"
#include "app/history/graph_list.h"
#include "app/support/work.h"

#include <QAccessible>
#include <QApplication>
#include <QContextMenuEvent>
#include <QDrag>
#include <QKeyEvent>
#include <QMimeData>
#include <QMouseEvent>
#include <QScrollBar>

namespace espalier {

std::vector<Row> GraphList::selectedRows() const
{
    std::set<int> displays = m_selected;
    if (displays.empty() && m_current >= 0)
        displays.insert(m_current);
    std::vector<Row> rows;
    for (int display : displays)
        rows.push_back(m_model->rowAt(display));
    return rows;
}

std::optional<DragSource> GraphList::selectedSource() const
{
    const SnapshotPtr& snapshot = m_model->snapshot();
    const std::vector<Row> rows = selectedRows();
    if (!snapshot || rows.empty())
        return std::nullopt;
    // A branch's tip stands for the branch; a range or a commit inside it for itself.
    if (rows.size() == 1)
        for (int at : snapshot->refsAt(rows[0]))
            if (const auto source = dragOfRef(*snapshot, at); source && at != snapshot->mainLine)
                return source;
    return dragOfRows(*snapshot, rows);
}

void GraphList::announceCurrent()
{
    if (!QAccessible::isActive() || (m_current < 0 && !isOnLocalRow()))
        return;
    QAccessibleEvent event(this, QAccessible::Focus);
    event.setChild(indexOfSpoken(m_current));
    QAccessible::updateAccessibility(&event);
}

void GraphList::setCurrent(int displayRow, bool keepSelection)
{
    displayRow = std::clamp(displayRow, m_model->rowCount() > 0 ? 0 : -1, m_model->rowCount() - 1);
    if (!keepSelection) {
        m_selected.clear();
        if (displayRow >= 0)
            m_selected.insert(displayRow);
        m_anchor = displayRow;
    }
    const bool changed = displayRow != m_current || m_onLocal;
    m_current = displayRow;
    m_onLocal = false;
    ensureVisible(displayRow);
    viewport()->update();
    if (changed) {
        Q_EMIT currentChanged();
        announceCurrent();
    }
    Q_EMIT selectionChanged();
}

void GraphList::selectTo(int displayRow)
{
    displayRow = std::clamp(displayRow, 0, std::max(0, m_model->rowCount() - 1));
    if (m_anchor < 0)
        m_anchor = m_current < 0 ? displayRow : m_current;
    // Marking more than this at once has no use and would be slow to hand on.
    constexpr int most = 5000;
    displayRow = std::clamp(displayRow, m_anchor - most, m_anchor + most);
    m_selected.clear();
    for (int at = std::min(m_anchor, displayRow); at <= std::max(m_anchor, displayRow); ++at)
        m_selected.insert(at);
    setCurrent(displayRow, true);
}

void GraphList::toggle(int displayRow)
{
    if (!m_selected.erase(displayRow))
        m_selected.insert(displayRow);
    m_anchor = displayRow;
    setCurrent(displayRow, true);
}

void GraphList::ensureVisible(int displayRow)
{
    if (displayRow < 0)
        return;
    const int top = topOf(displayRow), height = m_painter.geometry().rowHeight();
    QScrollBar* bar = verticalScrollBar();
    if (top < bar->value())
        bar->setValue(top);
    else if (top + height > bar->value() + viewport()->height())
        bar->setValue(top + height - viewport()->height());
}

void GraphList::centre(int displayRow)
{
    if (displayRow >= 0 && !viewport()->rect().contains(rectOf(displayRow)))
        verticalScrollBar()->setValue(topOf(displayRow) - viewport()->height() / 2);
}

void GraphList::moveTo(int displayRow, Qt::KeyboardModifiers modifiers)
{
    if (displayRow < 0 || m_model->rowCount() == 0)
        return;
    if (m_picking) {
        const int display = std::min(displayRow, m_model->rowCount() - 1);
        ensureVisible(display);
        setDropTarget(&*m_picking, {display, -1});
    } else if (modifiers & Qt::ShiftModifier) {
        selectTo(displayRow);
    } else {
        setCurrent(displayRow);
    }
}

int GraphList::nextOfPlace(int direction) const
{
    if (m_current < 0)
        return -1;
    const Place band = m_model->lanes()->position(std::size_t(m_current)).band;
    for (int at = m_current + direction; at >= 0 && at < m_model->rowCount(); at += direction)
        if (m_model->lanes()->position(std::size_t(at)).band == band)
            return at;
    return -1;
}

int GraphList::firstParent() const
{
    if (m_current < 0)
        return -1;
    for (const LaneEdge& edge : m_model->lanes()->edges(std::size_t(m_current)))
        if (edge.child == std::uint32_t(m_current) && !edge.secondParent)
            return int(edge.parent);
    return -1;
}

int GraphList::firstChild() const
{
    if (m_current < 0)
        return -1;
    int nearest = -1;
    for (const LaneEdge& edge : m_model->lanes()->edges(std::size_t(m_current)))
        if (edge.part == LaneEdge::Into && (nearest < 0 || (!edge.secondParent && int(edge.child) > nearest)))
            nearest = int(edge.child);
    return nearest;
}

// Whether the key led onto the local changes' row or off it again.
bool GraphList::moveOverLocalRow(int key)
{
    const int below = m_local.display;
    if (isOnLocalRow()) {
        if (key == Qt::Key_Down || key == Qt::Key_Right)
            setCurrent(below);
        else if (key == Qt::Key_Up && below > 0)
            setCurrent(below - 1);
        return key == Qt::Key_Up || key == Qt::Key_Down || key == Qt::Key_Right;
    }
    if ((key == Qt::Key_Up && m_current == below) || (key == Qt::Key_Down && m_current == below - 1 && below > 0) ||
        (key == Qt::Key_Home && below == 0)) {
        chooseLocalRow();
        return true;
    }
    return false;
}

void GraphList::keyPressEvent(QKeyEvent* event)
{
    if (hasLocalRow() && !m_picking && event->modifiers() == Qt::NoModifier && moveOverLocalRow(event->key()))
        return;
    const int page = std::max(1, viewport()->height() / m_painter.geometry().rowHeight() - 1);
    const int current = isOnLocalRow() ? m_local.display : m_current;
    const int from = m_picking && m_target.display >= 0 ? m_target.display : current;
    const bool control = event->modifiers() & Qt::ControlModifier;
    switch (event->key()) {
    case Qt::Key_Up:
        moveTo(control ? nextOfPlace(-1) : std::max(0, from - 1), event->modifiers());
        return;
    case Qt::Key_Down:
        moveTo(control ? nextOfPlace(1) : from + 1, event->modifiers());
        return;
    case Qt::Key_PageUp:
        moveTo(std::max(0, from - page), event->modifiers());
        return;
    case Qt::Key_PageDown:
        moveTo(from + page, event->modifiers());
        return;
    case Qt::Key_Home:
        moveTo(0, event->modifiers());
        return;
    case Qt::Key_End:
        moveTo(m_model->rowCount() - 1, event->modifiers());
        return;
    case Qt::Key_Right:
        moveTo(firstParent(), event->modifiers());
        return;
    case Qt::Key_Left:
        moveTo(firstChild(), event->modifiers());
        return;
    case Qt::Key_Space:
        if (m_current >= 0)
            Q_EMIT foldToggled(m_current);
        return;
    case Qt::Key_Return:
    case Qt::Key_Enter:
        if (m_picking && m_target.display >= 0) {
            const DragSource source = *m_picking;
            const Hover target = m_target;
            const Row row = m_model->rowAt(target.display);
            const RowSummary* summary = m_model->summary(target.display);
            const DropTarget onto =
                targetAt(*m_model->snapshot(), row, target.ref, summary ? summary->subject : QString());
            endPicking();
            Q_EMIT replayRequested(source, onto);
        } else if (m_current >= 0 || isOnLocalRow()) {
            Q_EMIT activated(m_current);
        }
        return;
    case Qt::Key_Escape:
        if (m_picking) {
            endPicking();
            return;
        }
        break;
    default:
        break;
    }
    QAbstractScrollArea::keyPressEvent(event);
}

void GraphList::focusInEvent(QFocusEvent* event)
{
    QAbstractScrollArea::focusInEvent(event);
    if (m_current < 0 && !isOnLocalRow() && m_model->rowCount() > 0 && event->reason() != Qt::MouseFocusReason)
        setCurrent(displayAt(QPoint(0, 1)));
    viewport()->update();
}

void GraphList::focusOutEvent(QFocusEvent* event)
{
    QAbstractScrollArea::focusOutEvent(event);
    viewport()->update();
}

GraphList::Hover GraphList::hoverAt(QPoint position) const
{
    Hover hover;
    hover.display = displayAt(position);
    if (hover.display < 0)
        return hover;
    ViewRow row;
    row.display = hover.display;
    row.top = rectOf(hover.display).top();
    for (const RefLabel& label : m_painter.labelsOf(*m_model, row, columns()))
        if (label.rect.contains(position))
            hover.ref = label.ref;
    return hover;
}

void GraphList::mousePressEvent(QMouseEvent* event)
{
    m_pressed = hoverAt(event->position().toPoint());
    m_pressedAt = event->position().toPoint();
    m_mayDrag = event->button() == Qt::LeftButton && m_pressed.display >= 0 && !m_picking;
    if (!m_picking && isLocalAt(m_pressedAt))
        chooseLocalRow();
    if (m_pressed.display < 0 || m_picking)
        return;
    if (event->modifiers() & Qt::ShiftModifier)
        selectTo(m_pressed.display);
    else if (event->modifiers() & Qt::ControlModifier)
        toggle(m_pressed.display);
    else if (!m_selected.contains(m_pressed.display) || m_selected.size() == 1)
        setCurrent(m_pressed.display);
}

void GraphList::mouseMoveEvent(QMouseEvent* event)
{
    const QPoint position = event->position().toPoint();
    if (m_mayDrag && (event->buttons() & Qt::LeftButton) &&
        (position - m_pressedAt).manhattanLength() >= QApplication::startDragDistance()) {
        startDrag();
        return;
    }
    const Hover hover = hoverAt(position);
    if (m_picking && hover.display >= 0)
        setDropTarget(&*m_picking, hover);
    const bool local = isLocalAt(position);
    if (hover != m_hover || local != m_hoversLocal) {
        m_hover = hover;
        m_hoversLocal = local;
        viewport()->update();
    }
}

void GraphList::mouseReleaseEvent(QMouseEvent* event)
{
    m_mayDrag = false;
    const Hover released = hoverAt(event->position().toPoint());
    if (event->button() != Qt::LeftButton || released.display < 0)
        return;
    if (m_picking) {
        setDropTarget(&*m_picking, released);
        QKeyEvent enter(QEvent::KeyPress, Qt::Key_Return, Qt::NoModifier);
        keyPressEvent(&enter);
    } else if (event->modifiers() == Qt::NoModifier && released == m_pressed && m_selected.size() > 1) {
        setCurrent(released.display);
    }
}

void GraphList::mouseDoubleClickEvent(QMouseEvent* event)
{
    const int display = displayAt(event->position().toPoint());
    if (isLocalAt(event->position().toPoint()))
        Q_EMIT activated(-1);
    if (display < 0)
        return;
    if (m_model->lanes()->displayed(std::size_t(display)).folded > 0)
        Q_EMIT foldToggled(display);
    else
        Q_EMIT activated(display);
}

void GraphList::contextMenuEvent(QContextMenuEvent* event)
{
    if (event->reason() == QContextMenuEvent::Keyboard) {
        if (m_current >= 0) {
            const QRect row = rectOf(m_current);
            const QPoint at(m_painter.geometry().graphWidth() + m_painter.geometry().gap(), row.bottom());
            Q_EMIT menuRequested(viewport()->mapToGlobal(at), m_current, -1);
        }
        return;
    }
    const Hover hover = hoverAt(event->pos());
    if (hover.display >= 0)
        Q_EMIT menuRequested(event->globalPos(), hover.display, hover.ref);
}

void GraphList::startDrag()
{
    m_mayDrag = false;
    std::optional<DragSource> source;
    if (m_pressed.ref >= 0)
        source = dragOfRef(*m_model->snapshot(), m_pressed.ref);
    else
        source = m_selected.size() > 1 ? selectedSource()
                                       : dragOfRows(*m_model->snapshot(), {m_model->rowAt(m_pressed.display)});
    if (!source)
        return;
    auto* drag = new QDrag(this);
    drag->setMimeData(encodeDrag(*source).release());
    const QPointer<GraphList> self(this);
    Q_EMIT dragBegan(*source);
    const Qt::DropAction done = drag->exec(Qt::MoveAction | Qt::LinkAction, Qt::MoveAction);
    if (!self)
        return;
    setDropTarget(nullptr, {});
    Q_EMIT dragEnded(done != Qt::IgnoreAction);
}

void GraphList::setDropTarget(const DragSource* source, Hover target)
{
    const Row row = source ? m_model->rowAt(target.display) : noRow;
    // A gap stands for many commits: it opens, or nothing.
    const bool isGap = row != noRow && m_model->lanes()->displayed(std::size_t(target.display)).gap;
    const bool allowed =
        row != noRow && !isGap && mayDrop(*m_model->snapshot(), *source, m_model->snapshot()->history.id(row));
    const bool began = source && !m_dragged, ended = !source && m_dragged;
    const bool moved = target != m_target;
    const Hover refused = row != noRow && !allowed ? target : Hover{};
    if (refused != m_refused)
        isGap && !m_picking ? m_opening.start() : m_opening.stop();
    m_refused = refused;
    m_dragged = source ? std::optional(*source) : std::nullopt;
    m_target = allowed ? target : Hover{};
    if (began || ended)
        updateGeometryOfGraph(true);
    if (allowed && moved)
        countPreview(*source, m_model->snapshot()->history.id(row));
    viewport()->update();
    if (!source)
        m_edgeScroll.stop();
    if (!isHovered())
        Q_EMIT hoverLeft();
}

// How many commits would stand on the new base; counted off the GUI thread, the newest question wins.
void GraphList::countPreview(const DragSource& source, const Oid& onto)
{
    m_previewCommits = 0; // not known yet
    const SnapshotPtr snapshot = m_model->snapshot();
    const Hover asked = m_target;
    startWork<int>(
        this, tr("Counting commits"),
        [snapshot, source, onto](const Progress&) -> Result<int> {
            const History& history = snapshot->history;
            const Row tip = history.find(source.tip), below = history.find(source.below), base = history.find(onto);
            if (tip == noRow)
                return 1;
            return int(history.onlyIn(tip, source.wholeBranch ? base : below).size());
        },
        [this, asked](const Result<int>& count) {
            if (!count || asked != m_target)
                return;
            m_previewCommits = *count;
            viewport()->update();
        },
        WorkPriority::Background);
}

void GraphList::dragEnterEvent(QDragEnterEvent* event)
{
    if (m_model->snapshot() && decodeDrag(event->mimeData()))
        event->acceptProposedAction();
}

void GraphList::dragMoveEvent(QDragMoveEvent* event)
{
    const auto source = decodeDrag(event->mimeData());
    if (!source)
        return;
    m_dragAt = event->position().toPoint();
    setDropTarget(&*source, hoverAt(m_dragAt));
    if (!m_edgeScroll.isActive())
        m_edgeScroll.start();
    event->setDropAction(Qt::MoveAction);
    event->setAccepted(m_target.display >= 0);
}

void GraphList::hoverOver(QPoint position)
{
    if (const std::optional<DragSource> source = m_dragged)
        setDropTarget(&*source, hoverAt(position));
}

// Near an edge the list moves on, the faster the nearer, so that a base further away can be reached without the pointer moving.
void GraphList::scrollAtEdge()
{
    const int edge = m_painter.geometry().rowHeight();
    QScrollBar* bar = verticalScrollBar();
    const int above = edge - m_dragAt.y(), below = m_dragAt.y() - (viewport()->height() - edge);
    if (above <= 0 && below <= 0)
        return;
    const int before = bar->value();
    bar->setValue(above > 0 ? before - above / 2 - 1 : before + below / 2 + 1);
    if (bar->value() != before)
        hoverOver(m_dragAt);
}

void GraphList::dragLeaveEvent(QDragLeaveEvent*) { setDropTarget(nullptr, {}); }

void GraphList::dropEvent(QDropEvent* event)
{
    const auto source = decodeDrag(event->mimeData());
    if (source)
        setDropTarget(&*source, hoverAt(event->position().toPoint()));
    if (!source || m_target.display < 0)
        return;
    const RowSummary* summary = m_model->summary(m_target.display);
    const DropTarget onto = targetAt(*m_model->snapshot(), m_model->rowAt(m_target.display), m_target.ref,
                                     summary ? summary->subject : QString());
    event->setDropAction(Qt::MoveAction);
    event->accept();
    setDropTarget(nullptr, {});
    // The drag's own loop must have ended before a page opens.
    QMetaObject::invokeMethod(
        this, [this, source = *source, onto] { Q_EMIT replayRequested(source, onto); }, Qt::QueuedConnection);
}

void GraphList::beginPicking(const DragSource& source)
{
    m_picking = source;
    setFocus();
    setDropTarget(&source, {m_current, -1});
    Q_EMIT pickingChanged(
        tr("Choose the new base for %1: arrows and Enter, or a click. Escape cancels.").arg(source.label));
}

void GraphList::endPicking()
{
    if (!m_picking)
        return;
    m_picking.reset();
    setDropTarget(nullptr, {});
    Q_EMIT pickingChanged(QString());
}

} // namespace espalier

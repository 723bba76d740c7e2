// SPDX-License-Identifier: MIT
#include "app/history/graph_list.h"

#include "app/history/graph_accessible.h"
#include "app/history/graph_drag.h"
#include "app/history/marked_scroll_bar.h"
#include "app/history/words.h"
#include "app/support/drop_words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QAccessible>
#include <QPaintEvent>
#include <QScrollBar>
#include <QToolTip>

namespace espalier {

GraphList::GraphList(HistoryModel* model, QWidget* parent) : QAbstractScrollArea(parent), m_model(model)
{
    setFrameShape(QFrame::NoFrame);
    setFocusPolicy(Qt::StrongFocus);
    setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    setVerticalScrollBarPolicy(Qt::ScrollBarAsNeeded);
    setAcceptDrops(true);
    viewport()->setAcceptDrops(true);
    viewport()->setMouseTracking(true);
    viewport()->setAttribute(Qt::WA_OpaquePaintEvent);
    setAccessibleName(tr("Commits"));
    m_bar = new MarkedScrollBar(this);
    setVerticalScrollBar(m_bar);
    m_shrink.setSingleShot(true);
    m_shrink.setInterval(500);
    connect(&m_shrink, &QTimer::timeout, this, [this] { updateGeometryOfGraph(true); });
    connect(m_model, &QAbstractItemModel::dataChanged, viewport(), qOverload<>(&QWidget::update));
    m_edgeScroll.setInterval(40);
    connect(&m_edgeScroll, &QTimer::timeout, this, &GraphList::scrollAtEdge);
    m_opening.setSingleShot(true);
    m_opening.setInterval(900);
    connect(&m_opening, &QTimer::timeout, this, [this] {
        if (m_dragged && m_refused.display >= 0 && m_model->lanes()->displayed(std::size_t(m_refused.display)).gap)
            Q_EMIT foldToggled(m_refused.display);
    });
    installGraphAccessibility();
    updateLook();
}

GraphList::~GraphList() { forgetAccessibleRows(this); }

void GraphList::updateLook()
{
    m_painter.setLook(font(), palette());
    updateGeometryOfGraph(true);
    updateScrollBar();
    viewport()->update();
}

Columns GraphList::columns() const
{
    return GraphPainter::columnsFor(fontMetrics(), m_painter.geometry(), viewport()->width(), m_widths);
}

void GraphList::setWidths(const ColumnWidths& widths)
{
    const int width = std::max(1, viewport()->width());
    const int least = 4 * fontMetrics().averageCharWidth(), most = std::max(least, width * 2 / 5);
    m_widths = widths;
    for (int* each : {&m_widths.author, &m_widths.date})
        if (*each >= 0)
            *each = std::clamp(*each, least, most);
    if (m_widths.lanes >= 0)
        m_widths.lanes = std::clamp(m_widths.lanes, 0.1, 0.8);
    updateGeometryOfGraph(true);
}

void GraphList::moveEdge(ColumnEdge edge, int x)
{
    const Columns at = columns();
    ColumnWidths wanted = m_widths;
    const GraphGeometry& graph = m_painter.geometry();
    if (edge == ColumnEdge::Author && at.authorWidth > 0)
        wanted.author = at.author + at.authorWidth - x;
    else if (edge == ColumnEdge::Date && at.dateWidth > 0)
        wanted.date = at.date + at.dateWidth - x;
    else if (edge == ColumnEdge::Lanes)
        // The bands' own margins are not for lanes to share; see GraphGeometry.
        wanted.lanes = double(x - 3 * graph.gap()) / std::max(1, viewport()->width());
    setWidths(wanted);
}

void GraphList::resetEdge(ColumnEdge edge)
{
    ColumnWidths wanted = m_widths;
    if (edge == ColumnEdge::Lanes)
        wanted.lanes = -1;
    else
        (edge == ColumnEdge::Author ? wanted.author : wanted.date) = -1;
    setWidths(wanted);
}

void GraphList::setContents(const SnapshotPtr& snapshot, const LanesPtr& lanes)
{
    const SnapshotPtr before = m_model->snapshot();
    const auto idOf = [&](int display) {
        const Row row = m_model->rowAt(display);
        return row == noRow ? Oid{} : before->history.id(row);
    };
    const int height = std::max(1, m_painter.geometry().rowHeight());
    const int first = before ? viewRow(verticalScrollBar()->value() / height).display : -1;
    const int offset = verticalScrollBar()->value() % height;
    const bool atTop = verticalScrollBar()->value() == 0;
    const Oid top = idOf(first), current = idOf(m_current), anchor = idOf(m_anchor);
    std::vector<Oid> selected;
    for (int display : m_selected)
        selected.push_back(idOf(display));

    forgetAccessibleRows(this);
    m_model->set(snapshot, lanes);
    const auto displayOf = [&](const Oid& id) {
        const Row row = id.isZero() || !m_model->snapshot() ? noRow : m_model->snapshot()->history.find(id);
        const auto display = row == noRow ? std::nullopt : m_model->lanes()->displayRowOf(row);
        return display ? int(*display) : -1;
    };
    m_current = displayOf(current);
    m_anchor = displayOf(anchor);
    m_selected.clear();
    for (const Oid& id : selected)
        if (const int display = displayOf(id); display >= 0)
            m_selected.insert(display);
    m_hover = m_target = m_refused = {};
    m_matches.clear();
    m_bar->setMarks({}, 0);
    m_ghostDisplay = displayOf(m_ghost.onto);
    placeLocalRow();
    updateGeometryOfGraph(true);
    updateScrollBar();
    if (const int display = displayOf(top); display >= 0 && !atTop)
        verticalScrollBar()->setValue(topOf(display) + offset);
    fetchVisible();
    viewport()->update();
    // The rows moved under a pointer that did not.
    if (m_dragged && !m_picking && m_edgeScroll.isActive())
        hoverOver(m_dragAt);
    if (displayOf(current) != m_current || current.isZero() == (m_current >= 0))
        Q_EMIT currentChanged();
    Q_EMIT selectionChanged();
}

void GraphList::setGhost(const ReplayGhost& ghost)
{
    m_ghost = ghost;
    const Row onto = m_model->snapshot() ? m_model->snapshot()->history.find(ghost.onto) : noRow;
    const auto display = onto == noRow || ghost.isEmpty() ? std::nullopt : m_model->lanes()->displayRowOf(onto);
    m_ghostDisplay = display && !ghost.commits.isEmpty() ? int(*display) : -1;
    updateGeometryOfGraph(true);
    updateScrollBar();
    if (m_ghostDisplay >= 0) {
        // The base and as many of the ghosts as fit above it.
        const int height = m_painter.geometry().rowHeight();
        const int base = topOf(m_ghostDisplay), first = base - ghostCount() * height;
        QScrollBar* bar = verticalScrollBar();
        if (first < bar->value() || base + height > bar->value() + viewport()->height())
            bar->setValue(std::max(base + 4 * height - viewport()->height(), first - height));
    }
    viewport()->update();
}

void GraphList::setMatches(std::vector<int> displayRows)
{
    m_matches = std::move(displayRows);
    m_bar->setMarks(m_matches, m_model->rowCount());
    viewport()->update();
}

// The local changes stand directly above the commit that is checked out, ghosts above the row they are based on.
int GraphList::localIndex() const
{
    return m_local.display + (ghostCount() > 0 && m_ghostDisplay <= m_local.display ? ghostCount() : 0);
}

ViewRow GraphList::viewRow(int index) const
{
    ViewRow row;
    if (hasLocalRow()) {
        const int local = localIndex();
        row.local = index == local;
        if (row.local)
            return row;
        if (index > local)
            --index;
    }
    const int ghosts = ghostCount();
    if (ghosts == 0 || index < m_ghostDisplay)
        row.display = index < m_model->rowCount() ? index : -1;
    else if (index < m_ghostDisplay + ghosts)
        row.ghost = index - m_ghostDisplay;
    else
        row.display = index - ghosts < m_model->rowCount() ? index - ghosts : -1;
    return row;
}

void GraphList::setLocalChanges(const QString& words, bool conflicted)
{
    if (words == m_local.words && conflicted == m_local.conflicted)
        return;
    m_local.words = words;
    m_local.conflicted = conflicted;
    const bool had = hasLocalRow(), was = isOnLocalRow();
    // A row that comes or goes above what is looked at moves nothing there.
    const int height = m_painter.geometry().rowHeight();
    const bool above = had ? rectOfLocalRow().bottom() < 0 : false;
    placeLocalRow();
    updateGeometryOfGraph(true);
    updateScrollBar();
    QScrollBar* bar = verticalScrollBar();
    if (had && !hasLocalRow() && above)
        bar->setValue(bar->value() - height);
    else if (!had && hasLocalRow() && bar->value() > 0 && rectOfLocalRow().top() < 0)
        bar->setValue(bar->value() + height);
    if (was && !hasLocalRow()) {
        m_onLocal = false;
        const Row head =
            m_model->snapshot() ? m_model->snapshot()->history.find(m_model->snapshot()->worktree.headTip) : noRow;
        const auto display = head == noRow ? std::nullopt : m_model->lanes()->displayRowOf(head);
        if (display)
            setCurrent(int(*display));
        else
            Q_EMIT currentChanged();
    }
    viewport()->update();
}

// Where the commit that is checked out has a row of its own.
void GraphList::placeLocalRow()
{
    m_local.display = -1;
    m_local.apart = false;
    const SnapshotPtr& snapshot = m_model->snapshot();
    if (m_local.words.isEmpty() || !snapshot || snapshot->worktree.headTip.isZero())
        return;
    const Row head = snapshot->history.find(snapshot->worktree.headTip);
    const auto display = head == noRow ? std::nullopt : m_model->lanes()->displayRowOf(head);
    if (!display || m_model->rowAt(int(*display)) != head || m_model->lanes()->displayed(*display).gap)
        return;
    m_local.display = int(*display);
    m_local.lane = m_model->lanes()->position(*display);
    const auto goesOn = [&](const LaneEdge& edge) {
        return edge.part == LaneEdge::Into && edge.from.band == m_local.lane.band &&
               edge.from.lane == m_local.lane.lane;
    };
    m_local.apart = m_local.lane.band != Place::Clone || std::ranges::any_of(m_model->lanes()->edges(*display), goesOn);
}

void GraphList::chooseLocalRow()
{
    if (!hasLocalRow() || isOnLocalRow())
        return;
    m_onLocal = true;
    m_current = m_anchor = -1;
    m_selected.clear();
    const QRect row = rectOfLocalRow();
    QScrollBar* bar = verticalScrollBar();
    if (row.top() < 0)
        bar->setValue(bar->value() + row.top());
    else if (row.bottom() >= viewport()->height())
        bar->setValue(bar->value() + row.bottom() + 1 - viewport()->height());
    viewport()->update();
    Q_EMIT currentChanged();
    announceCurrent();
    Q_EMIT selectionChanged();
}

QRect GraphList::rectOfLocalRow() const
{
    const int height = m_painter.geometry().rowHeight();
    return {0, localIndex() * height - verticalScrollBar()->value(), viewport()->width(), height};
}

bool GraphList::isLocalAt(QPoint position) const { return hasLocalRow() && rectOfLocalRow().contains(position); }

QString GraphList::localWords() const { return tr("Local changes, not committed: %1").arg(m_local.words); }

int GraphList::spokenAt(int index) const
{
    if (!hasLocalRow() || index < m_local.display)
        return index;
    return index == m_local.display ? -1 : index - 1;
}

int GraphList::indexOfSpoken(int displayRow) const
{
    if (displayRow < 0)
        return hasLocalRow() ? m_local.display : -1;
    return hasLocalRow() && displayRow >= m_local.display ? displayRow + 1 : displayRow;
}

int GraphList::roomForRows() const { return viewport()->height() / std::max(1, m_painter.geometry().rowHeight()); }

int GraphList::topOf(int displayRow) const
{
    int index = ghostCount() > 0 && displayRow >= m_ghostDisplay ? displayRow + ghostCount() : displayRow;
    if (hasLocalRow() && displayRow >= m_local.display)
        ++index;
    return index * m_painter.geometry().rowHeight();
}

QRect GraphList::rectOf(int displayRow) const
{
    return {0, topOf(displayRow) - verticalScrollBar()->value(), viewport()->width(), m_painter.geometry().rowHeight()};
}

std::vector<ViewRow> GraphList::visibleRows() const
{
    std::vector<ViewRow> rows;
    const int height = m_painter.geometry().rowHeight();
    const int value = verticalScrollBar()->value();
    for (int index = value / height; index < totalRows() && index * height < value + viewport()->height(); ++index) {
        ViewRow row = viewRow(index);
        row.top = index * height - value;
        rows.push_back(row);
    }
    return rows;
}

int GraphList::displayAt(QPoint position) const
{
    const int index = (position.y() + verticalScrollBar()->value()) / m_painter.geometry().rowHeight();
    return position.y() < 0 || index >= totalRows() ? -1 : viewRow(index).display;
}

void GraphList::updateGeometryOfGraph(bool mayShrink)
{
    std::array<std::uint16_t, 3> lanes{};
    if (m_model->lanes()) {
        const LanesPtr& all = m_model->lanes();
        // A small history has one width from top to bottom; a large one has the width of what is on the screen.
        constexpr std::size_t small = 1500;
        const int height = std::max(1, m_painter.geometry().rowHeight());
        const int extra = ghostCount() + localCount();
        const std::size_t first = std::size_t(std::max(0, verticalScrollBar()->value() / height - extra));
        lanes = all->rowCount() <= small ? all->widths()
                                         : all->widths(first, first + std::size_t(viewport()->height() / height));
        if (all->rowCount() > small)
            for (std::uint16_t& count : lanes)
                count = std::uint16_t((count + 2) / 3 * 3);
    }
    const int ghostLanes = ghostCount() > 0 || m_dragged.has_value() ? 1 : 0;
    const bool apart = hasLocalRow() && m_local.apart;
    GraphGeometry fresh(fontMetrics(), lanes, ghostLanes + (apart ? 1 : 0), viewport()->width(),
                        m_widths.lanes >= 0 ? m_widths.lanes : GraphGeometry::usualPart);
    if (!mayShrink && fresh.graphWidth() <= m_painter.geometry().graphWidth()) {
        bool fits = true;
        for (int band = 0; band < 3; ++band)
            fits = fits && fresh.bandWidth(Place(band)) <= m_painter.geometry().bandWidth(Place(band));
        if (fits) {
            if (apart)
                m_local.lane = m_painter.geometry().sparePosition(ghostLanes);
            m_shrink.start();
            return;
        }
    }
    m_painter.setGeometry(fresh);
    if (apart)
        m_local.lane = fresh.sparePosition(ghostLanes);
    viewport()->update();
    Q_EMIT geometryChanged();
}

void GraphList::updateScrollBar()
{
    const int height = m_painter.geometry().rowHeight();
    const qint64 all = qint64(totalRows()) * height;
    QScrollBar* bar = verticalScrollBar();
    bar->setPageStep(viewport()->height());
    bar->setSingleStep(height);
    bar->setRange(0, int(std::clamp<qint64>(all - viewport()->height() + height / 2, 0, 2'000'000'000)));
}

void GraphList::fetchVisible()
{
    if (!m_model->snapshot())
        return;
    const int height = m_painter.geometry().rowHeight();
    const int extra = ghostCount() + localCount();
    const int first = verticalScrollBar()->value() / height - extra;
    const int count = viewport()->height() / height + extra + 1;
    m_model->want(first, first + count);
    Q_EMIT rowShown(first, first + count);
}

void GraphList::scrollContentsBy(int, int)
{
    updateGeometryOfGraph(false);
    fetchVisible();
    viewport()->update();
}

void GraphList::resizeEvent(QResizeEvent*)
{
    updateGeometryOfGraph(true);
    updateScrollBar();
    fetchVisible();
    if (std::exchange(m_room, roomForRows()) != roomForRows())
        Q_EMIT roomChanged();
}

void GraphList::changeEvent(QEvent* event)
{
    if (event->type() == QEvent::FontChange || event->type() == QEvent::PaletteChange)
        updateLook();
    QAbstractScrollArea::changeEvent(event);
}

bool GraphList::viewportEvent(QEvent* event)
{
    if (event->type() == QEvent::ToolTip) {
        const QPoint position = static_cast<QHelpEvent*>(event)->pos();
        const int display = displayAt(position);
        if (display >= 0)
            QToolTip::showText(static_cast<QHelpEvent*>(event)->globalPos(), toToolTip(m_model->toolTip(display)),
                               viewport(), rectOf(display));
        else if (isLocalAt(position))
            QToolTip::showText(static_cast<QHelpEvent*>(event)->globalPos(), toToolTip(localWords()), viewport(),
                               rectOfLocalRow());
        else
            QToolTip::hideText();
        return true;
    }
    if (event->type() == QEvent::Leave && (m_hover != Hover{} || m_hoversLocal)) {
        m_hover = {};
        m_hoversLocal = false;
        viewport()->update();
    }
    return QAbstractScrollArea::viewportEvent(event);
}

} // namespace espalier

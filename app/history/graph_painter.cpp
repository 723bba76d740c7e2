// SPDX-License-Identifier: MIT
#include "app/history/graph_painter.h"

#include "app/history/words.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/git/text.h"

#include <QCoreApplication>
#include <QPainterPath>

namespace espalier {

// A line on its way down through rows, drawn in one go.
struct GraphPainter::Run {
    LaneEdge edge;
    qreal top = 0, bottom = 0;
};

namespace {
QString elided(const QFontMetrics& metrics, const QString& words, int width)
{
    // What is longer than this cannot fit; shaping a subject of thousands of letters for each frame would be slow.
    const qsizetype most = width / std::max(1, metrics.averageCharWidth() / 3) + 8;
    return metrics.elidedText(words.size() > most ? words.left(most) + QChar(0x2026) : words, Qt::ElideRight, width);
}
} // namespace

void GraphPainter::setLook(const QFont& font, const QPalette& palette)
{
    m_font = font;
    m_labels = LabelLook(font, palette);
    m_marks = {};
    m_italic = font;
    m_italic.setItalic(true);
    m_palette = palette;
    for (int at = 0; at < 3; ++at) {
        m_place[std::size_t(at)] = theme::place(Place(at), palette);
        m_tint[std::size_t(at)] = theme::placeTint(Place(at), palette);
    }
    for (std::size_t at = 0; at < m_lane.size(); ++at)
        m_lane[at] = theme::laneColour(int(at), palette);
    m_quiet = theme::quiet(palette);
    m_match = theme::undecidedTint(palette);
    m_hollow = theme::fitted(theme::cardBorder(palette), palette.color(QPalette::Base), 2.4);
}

Columns GraphPainter::columnsFor(const QFontMetrics& metrics, const GraphGeometry& geometry, int width,
                                 const ColumnWidths& wanted)
{
    Columns columns;
    const int gap = geometry.gap();
    const int dateWidth =
        wanted.date >= 0 ? wanted.date : metrics.horizontalAdvance(QStringLiteral("00 minutes ago")) + gap;
    const int authorWidth = wanted.author >= 0 ? wanted.author : metrics.averageCharWidth() * 19;
    columns.subject = geometry.graphWidth() + 2 * gap;
    int right = width - 2 * gap;
    // What the user has set is kept until hardly anything of the subject is left.
    const bool set = wanted.date >= 0 || wanted.author >= 0;
    const int least = metrics.averageCharWidth() * (set ? 8 : 34);
    if (right - columns.subject - dateWidth > least) {
        columns.date = right - dateWidth;
        columns.dateWidth = dateWidth;
        right = columns.date - 2 * gap;
    }
    if (right - columns.subject - authorWidth > least) {
        columns.author = right - authorWidth;
        columns.authorWidth = authorWidth;
        right = columns.author - 2 * gap;
    }
    columns.subjectWidth = std::max(0, right - columns.subject);
    return columns;
}

QColor GraphPainter::colourOf(LanePosition position) const
{
    if (position.lane == 0)
        return m_place[std::size_t(position.band)];
    return m_lane[(position.lane - 1 + std::size_t(position.band) * 2) % m_lane.size()];
}

void GraphPainter::paintBands(QPainter& painter, const QRect& area) const
{
    painter.fillRect(area, m_palette.color(QPalette::Base));
    for (int at = 0; at < 3; ++at)
        painter.fillRect(
            QRect(m_geometry.bandLeft(Place(at)), area.top(), m_geometry.bandWidth(Place(at)), area.height()),
            m_tint[std::size_t(at)]);
}

QPen GraphPainter::penFor(const LaneEdge& edge) const
{
    QPen pen(colourOf(edge.colour), m_geometry.lineWidth());
    pen.setCapStyle(Qt::FlatCap);
    if (edge.skips)
        pen.setDashPattern({2, 2});
    return pen;
}

void GraphPainter::paintCurve(QPainter& painter, QPointF node, QPointF end, const LaneEdge& edge) const
{
    painter.setPen(penFor(edge));
    const qreal across = end.x() - node.x();
    if (std::abs(across) < 1) {
        painter.setRenderHint(QPainter::Antialiasing, false);
        painter.drawLine(node, end);
        return;
    }
    // Along the row's middle and then round the corner into the lane: no other node stands in the row.
    const qreal radius = std::min(std::abs(across), std::abs(end.y() - node.y()));
    QPainterPath path(node);
    path.lineTo(end.x() - std::copysign(radius, across), node.y());
    path.cubicTo(QPointF(end.x() - std::copysign(radius * 0.4, across), node.y()),
                 QPointF(end.x(), node.y() + (end.y() - node.y()) * 0.4), end);
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setBrush(Qt::NoBrush);
    painter.drawPath(path);
}

// Begun and then thinning out into dots: the parent is far below.
void GraphPainter::paintStub(QPainter& painter, QPointF node, const LaneEdge& edge) const
{
    const qreal half = m_geometry.rowHeight() / 2.0;
    const QRectF mark = m_geometry.mark(node);
    const QPointF start(node.x() + (edge.secondParent ? mark.width() / 2 : 0), node.y());
    const qreal dot = m_geometry.lineWidth() * 0.8;
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setPen(Qt::NoPen);
    painter.setBrush(colourOf(edge.colour));
    const qreal from = edge.secondParent ? dot * 2 : mark.height() / 2 + dot;
    for (int k = 0; k < 3; ++k) {
        const qreal y = start.y() + from + k * dot * 2.2;
        if (y > node.y() + half + dot)
            break;
        painter.drawEllipse(QPointF(start.x() + (edge.secondParent ? dot * 2 : 0), y), dot * (1 - k * 0.2),
                            dot * (1 - k * 0.2));
    }
}

// A folded branch leaves here: dots up and away from the node.
void GraphPainter::paintFoldBegin(QPainter& painter, QPointF node, LanePosition lane) const
{
    const QRectF mark = m_geometry.mark(node);
    const qreal dot = m_geometry.lineWidth() * 0.8;
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setPen(Qt::NoPen);
    painter.setBrush(colourOf({lane.band, std::uint16_t(lane.lane + 1)}));
    for (int k = 0; k < 3; ++k) {
        const QPointF at(mark.right() + dot * (1.6 + 1.9 * k), node.y() - dot * (0.6 + 1.9 * k));
        painter.drawEllipse(at, dot * (1 - k * 0.2), dot * (1 - k * 0.2));
    }
}

// Commits on the line that are not shown: three beads in its colour.
void GraphPainter::paintGap(QPainter& painter, QPointF node, LanePosition lane) const
{
    const qreal size = m_geometry.lineWidth() * 2.2;
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setPen(QPen(colourOf(lane), 1.2));
    painter.setBrush(m_palette.color(QPalette::Base));
    for (int k = -1; k <= 1; ++k)
        painter.drawEllipse(node + QPointF(0, k * size * 1.25), size / 2, size / 2);
}

void GraphPainter::paintRowLines(QPainter& painter, const std::vector<LaneEdge>& edges, const ViewRow& row,
                                 std::vector<Run>& runs) const
{
    const qreal top = row.top, bottom = row.top + m_geometry.rowHeight();
    const qreal middle = row.top + m_geometry.rowHeight() / 2;
    for (const LaneEdge& edge : edges) {
        if (edge.part == LaneEdge::Through || row.ghost >= 0 || row.local) {
            const auto same = std::ranges::find_if(runs, [&](const Run& run) {
                return run.bottom == top && run.edge.child == edge.child && run.edge.parent == edge.parent &&
                       run.edge.colour.band == edge.colour.band && run.edge.colour.lane == edge.colour.lane;
            });
            if (same != runs.end())
                same->bottom = bottom;
            else
                runs.push_back({edge, top, bottom});
        } else if (edge.part == LaneEdge::Into) {
            paintCurve(painter, {m_geometry.x(edge.to), middle}, {m_geometry.x(edge.from), top}, edge);
        } else if (edge.part == LaneEdge::OutOf) {
            paintCurve(painter, {m_geometry.x(edge.from), middle}, {m_geometry.x(edge.to), bottom}, edge);
        } else {
            paintStub(painter, {m_geometry.x(edge.from), middle}, edge);
        }
    }
}

// From a lane to the right of it into a node, which what stands there is based on.
void GraphPainter::paintJoin(QPainter& painter, qreal from, const ViewRow& row, QPointF node) const
{
    QPainterPath path(QPointF(from, row.top));
    path.cubicTo(QPointF(from, node.y()), QPointF(from, node.y()),
                 QPointF(from - m_geometry.rowHeight() / 2, node.y()));
    path.lineTo(node);
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.drawPath(path);
}

void GraphPainter::paintGraph(QPainter& painter, const HistoryModel& model, const ReplayGhost& ghost, int ghostDisplay,
                              const LocalRow& local, const std::vector<ViewRow>& rows) const
{
    const Lanes& lanes = *model.lanes();
    std::vector<Run> runs;
    for (const ViewRow& row : rows) {
        const int at = row.local ? local.display : row.ghost >= 0 ? ghostDisplay : row.display;
        std::vector<LaneEdge> edges = lanes.edges(std::size_t(at));
        if (row.ghost >= 0 || row.local)
            std::erase_if(edges,
                          [](const LaneEdge& e) { return e.part != LaneEdge::Through && e.part != LaneEdge::Into; });
        paintRowLines(painter, edges, row, runs);
    }
    painter.setRenderHint(QPainter::Antialiasing, false);
    const auto passes = [&](const LaneEdge& edge) {
        const auto isDisplay = [](const ViewRow& row) { return row.display >= 0; };
        const auto first = std::ranges::find_if(rows, isDisplay);
        const auto last = std::find_if(rows.rbegin(), rows.rend(), isDisplay);
        return first != rows.end() && int(edge.child)<first->display&& int(edge.parent)> last->display;
    };
    const Ref* main = model.snapshot()->mainLineRef();
    const std::optional<std::size_t> mainTip = main ? lanes.displayRowOf(main->row) : std::nullopt;
    const auto isMainLine = [&](const LaneEdge& edge) {
        return mainTip && edge.colour.lane == 0 && edge.colour.band == lanes.position(*mainTip).band;
    };
    for (const Run& run : runs) {
        QPen pen = penFor(run.edge);
        // What begins and ends elsewhere stands back behind what can be followed to a node; the main line never does.
        if (!isMainLine(run.edge) && passes(run.edge)) {
            pen.setWidthF(std::max(1.0, std::floor(m_geometry.lineWidth() / 2)));
            pen.setColor(theme::mixed(pen.color(), m_tint[std::size_t(run.edge.colour.band)], 0.4));
        }
        painter.setPen(pen);
        const qreal x = m_geometry.x(run.edge.colour);
        painter.drawLine(QPointF(x, run.top), QPointF(x, run.bottom));
    }
    const int count = int(ghost.commits.size());
    const LanePosition ghostLane = m_geometry.ghostPosition();
    QPen dashed(m_place[2], m_geometry.lineWidth());
    dashed.setDashPattern({2, 1.5});
    for (const ViewRow& row : rows) {
        const qreal middle = row.top + m_geometry.rowHeight() / 2;
        const QPointF ghostNode(m_geometry.x(ghostLane), middle);
        painter.setPen(dashed);
        painter.setBrush(Qt::NoBrush);
        if (row.ghost >= 0) {
            painter.drawLine(QPointF(ghostNode.x(), row.ghost == 0 ? middle : row.top),
                             QPointF(ghostNode.x(), row.top + m_geometry.rowHeight()));
            paintMark(painter, ghostNode, placeBit(Place::Clone), false, true);
            continue;
        }
        if (row.local) {
            // What stands on the same commit after a replay goes past.
            if (count > 0 && local.display == ghostDisplay)
                painter.drawLine(QPointF(ghostNode.x(), row.top),
                                 QPointF(ghostNode.x(), row.top + m_geometry.rowHeight()));
            const QPointF localNode(m_geometry.x(local.lane), middle);
            painter.drawLine(localNode, QPointF(localNode.x(), row.top + m_geometry.rowHeight()));
            paintMark(painter, localNode, placeBit(Place::Clone), false, true);
            continue;
        }
        const auto at = std::size_t(row.display);
        const QPointF node(m_geometry.x(lanes.position(at)), middle);
        if (count > 0 && row.display == ghostDisplay)
            paintJoin(painter, ghostNode.x(), row, node);
        if (row.display == local.display && local.apart)
            paintJoin(painter, m_geometry.x(local.lane), row, node);
        else if (row.display == local.display)
            painter.drawLine(QPointF(node.x(), row.top), node);
        const Row commit = lanes.displayed(at).row;
        if (model.snapshot()->history.isBoundary(commit)) {
            LaneEdge cutOff;
            cutOff.colour = lanes.position(at);
            paintStub(painter, node, cutOff); // it had parents, which are not here
        }
        if (lanes.displayed(at).gap) {
            paintGap(painter, node, lanes.position(at));
            continue;
        }
        if (lanes.beginsFold(at))
            paintFoldBegin(painter, node, lanes.position(at));
        paintMark(painter, node, model.snapshot()->placesOf(commit), isHead(*model.snapshot(), commit), false);
    }
}

void GraphPainter::paintMark(QPainter& painter, QPointF middle, Places places, bool isHead, bool isGhost) const
{
    const qreal scale = painter.device()->devicePixelRatioF();
    const int room = 2 * m_geometry.rowHeight();
    QPixmap& mark = m_marks[std::size_t(places & 7) | (isHead ? 8u : 0u) | (isGhost ? 16u : 0u)];
    if (mark.isNull() || mark.devicePixelRatio() != scale || mark.width() != int(room * scale)) {
        mark = QPixmap(int(room * scale), int(room * scale));
        mark.setDevicePixelRatio(scale);
        mark.fill(Qt::transparent);
        QPainter onMark(&mark);
        drawMark(onMark, QPointF(room / 2, room / 2), places, isHead, isGhost);
    }
    painter.drawPixmap(QPointF(std::floor(middle.x()) - room / 2, std::floor(middle.y()) - room / 2), mark);
}

void GraphPainter::drawMark(QPainter& painter, QPointF middle, Places places, bool isHead, bool isGhost) const
{
    middle = QPointF(std::floor(middle.x()) + 0.5, std::floor(middle.y()) + 0.5);
    painter.setRenderHint(QPainter::Antialiasing, true);
    const QRectF whole = m_geometry.mark(middle).adjusted(-1, -1, 1, 1);
    painter.setPen(Qt::NoPen);
    painter.setBrush(m_palette.color(QPalette::Base));
    painter.drawRoundedRect(whole, 2.5, 2.5);
    for (int at = 0; at < 3; ++at) {
        const bool filled = places & placeBit(Place(at));
        const QRectF cell = m_geometry.cell(middle, Place(at));
        if (filled && !isGhost) {
            painter.setPen(Qt::NoPen);
            painter.setBrush(m_place[std::size_t(at)]);
            painter.drawRoundedRect(cell, 1.6, 1.6);
        } else {
            // A ghost's cell is drawn but not yet filled in.
            painter.setPen(QPen(filled ? m_place[std::size_t(at)] : m_hollow, filled ? 1.3 : 1));
            painter.setBrush(filled ? QBrush(m_tint[std::size_t(at)]) : QBrush(Qt::NoBrush));
            painter.drawRoundedRect(cell.adjusted(0.5, 0.5, -0.5, -0.5), 1.4, 1.4);
        }
    }
    if (isHead) {
        painter.setPen(QPen(m_palette.color(QPalette::Text), 1.6));
        painter.setBrush(Qt::NoBrush);
        painter.drawRoundedRect(whole.adjusted(-1.8, -1.8, 1.8, 1.8), 4.5, 4.5);
    }
}

std::vector<RefLabel> GraphPainter::labelsOf(const HistoryModel& model, const ViewRow& row,
                                             const Columns& columns) const
{
    if (row.display < 0 || model.lanes()->displayed(std::size_t(row.display)).gap)
        return {};
    const QRectF room(columns.subject, row.top, columns.subjectWidth * 0.75, m_geometry.rowHeight());
    return placeLabels(*model.snapshot(), model.rowAt(row.display), m_labels.metrics, room);
}

void GraphPainter::paintTexts(QPainter& painter, const HistoryModel& model, const ViewRow& row, const Columns& columns,
                              bool isMatch, int dropLabel) const
{
    const Snapshot& snapshot = *model.snapshot();
    const DisplayRow shown = model.lanes()->displayed(std::size_t(row.display));
    const QFontMetrics metrics(m_font);
    const int height = m_geometry.rowHeight();
    int x = columns.subject;
    if (shown.gap) {
        painter.setFont(m_italic);
        painter.setPen(shown.touching > 0 ? m_palette.color(QPalette::Text) : m_quiet);
        const int width = columns.subjectWidth + columns.authorWidth;
        painter.drawText(QRect(x, row.top, width, height), Qt::AlignVCenter | Qt::TextSingleLine,
                         elided(QFontMetrics(m_italic), QStringLiteral("\u25b8 ") + gapWords(shown), width));
        return;
    }
    for (const RefLabel& label : labelsOf(model, row, columns)) {
        paintLabel(painter, snapshot, label, m_labels, label.ref >= 0 && label.ref == dropLabel);
        x = int(std::ceil(label.rect.right())) + m_geometry.gap();
    }
    painter.setFont(m_font);
    const auto text = [&](int left, int width, const QString& words, const QColor& colour) {
        if (width < metrics.averageCharWidth() * 3)
            return;
        painter.setPen(colour);
        painter.drawText(QRect(left, row.top, width, height), Qt::AlignVCenter | Qt::AlignLeft | Qt::TextSingleLine,
                         // Measuring a text costs as much as painting it; most are clearly short enough.
                         words.size() * metrics.maxWidth() <= width ? words : elided(metrics, words, width));
    };
    int right = columns.subject + columns.subjectWidth;
    if (shown.folded > 0) {
        // In a narrow column the number alone, so that the subject can still be read.
        QString more = QStringLiteral("+ ") + foldedWords(shown);
        const int least = metrics.averageCharWidth() * 16;
        if (right - x - metrics.horizontalAdvance(more) - 3 * m_geometry.gap() < least)
            more = QStringLiteral("+ %1").arg(shown.folded);
        const int width = metrics.horizontalAdvance(more) + 2 * m_geometry.gap();
        const QRectF box(right - width + 0.5, row.top + height * 0.16 + 0.5, width - 1, height * 0.68);
        painter.setRenderHint(QPainter::Antialiasing, true);
        painter.setPen(QPen(m_hollow, 1));
        painter.setBrush(Qt::NoBrush);
        painter.drawRoundedRect(box, 4, 4);
        painter.setPen(m_quiet);
        painter.drawText(box, Qt::AlignCenter | Qt::TextSingleLine, more);
        right -= width + m_geometry.gap();
    }
    const RowSummary* summary = model.summary(row.display);
    if (isMatch && summary) {
        const int width = std::min(right - x, metrics.horizontalAdvance(summary->subject));
        painter.fillRect(QRect(x - 3, row.top + (height - metrics.height()) / 2, width + 6, metrics.height()), m_match);
    }
    const QColor ink = m_palette.color(QPalette::Text);
    if (summary)
        text(x, right - x, summary->subject, ink);
    if (summary && columns.authorWidth > 0)
        text(columns.author, columns.authorWidth, summary->author, ink);
    if (columns.dateWidth > 0)
        text(columns.date, columns.dateWidth, relativeTime(snapshot.history.time(shown.row), m_now), m_quiet);
}

// What does not exist yet has a label with a broken edge; where it ends.
int GraphPainter::paintPill(QPainter& painter, const QString& words, int left, const ViewRow& row,
                            const Columns& columns) const
{
    const QFontMetricsF& small = m_labels.metrics;
    const QString name = small.elidedText(words, Qt::ElideMiddle, columns.subjectWidth / 2);
    const int boxHeight = int(std::ceil(small.height())) + 4;
    const QRectF box(left + 0.5, row.top + (m_geometry.rowHeight() - boxHeight) / 2 + 0.5,
                     small.horizontalAdvance(name) + small.height() * 1.2, boxHeight);
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setPen(QPen(m_place[2], 1, Qt::DashLine));
    painter.setBrush(Qt::NoBrush);
    painter.drawRoundedRect(box, boxHeight / 2.0, boxHeight / 2.0);
    painter.setFont(m_labels.font);
    painter.setPen(m_place[2]);
    painter.drawText(box, Qt::AlignCenter | Qt::TextSingleLine, name);
    return int(box.right()) + m_geometry.gap();
}

void GraphPainter::paintLocalTexts(QPainter& painter, const LocalRow& local, const ViewRow& row,
                                   const Columns& columns) const
{
    const int x =
        paintPill(painter, QCoreApplication::translate("History", "Local changes"), columns.subject, row, columns);
    painter.setFont(m_italic);
    painter.setPen(local.conflicted ? theme::warning(m_palette) : m_palette.color(QPalette::Text));
    // It has no author and no date: their room is its own.
    const int right = std::max({columns.subject + columns.subjectWidth, columns.author + columns.authorWidth,
                                columns.date + columns.dateWidth});
    painter.drawText(QRect(x, row.top, right - x, m_geometry.rowHeight()), Qt::AlignVCenter | Qt::TextSingleLine,
                     elided(QFontMetrics(m_italic), local.words, right - x));
}

void GraphPainter::paintGhostTexts(QPainter& painter, const ReplayGhost& ghost, const ViewRow& row,
                                   const Columns& columns) const
{
    const GhostCommit& commit = ghost.commits[ghost.commits.size() - 1 - row.ghost];
    const QFontMetrics metrics(m_italic);
    const int height = m_geometry.rowHeight();
    int x = columns.subject;
    if (row.ghost == 0 && !ghost.label.isEmpty())
        x = paintPill(painter, QCoreApplication::translate("History", "%1, after the replay").arg(ghost.label), x, row,
                      columns);
    painter.setFont(m_italic);
    painter.setPen(commit.outcome == Outcome::Conflict ? theme::warning(m_palette) : m_quiet);
    const std::string_view outcome = outcomeName(commit.outcome);
    const QString words = QString::fromLatin1(outcome.data(), qsizetype(outcome.size()));
    const int right = columns.subject + columns.subjectWidth;
    painter.drawText(QRect(x, row.top, right - x, height), Qt::AlignVCenter | Qt::TextSingleLine,
                     metrics.elidedText(commit.subject, Qt::ElideRight, right - x));
    const int at = columns.authorWidth > 0 ? columns.author : columns.date;
    if (at > 0)
        painter.drawText(QRect(at, row.top, std::max(columns.authorWidth, columns.dateWidth), height),
                         Qt::AlignVCenter | Qt::TextSingleLine, words);
}

void GraphPainter::paintPreview(QPainter& painter, QPointF target, int commits) const
{
    // Above the base, where the commits will stand; the top row has no room there, so they hang below it.
    const qreal up = target.y() < m_geometry.rowHeight() ? 1 : -1;
    const qreal height = m_geometry.rowHeight();
    const int room = up < 0 ? int((target.y() - height / 2) / height) + 1 : 6;
    const int shown = std::clamp(std::min(commits, room), 1, 6);
    const qreal step = height;
    const qreal x = m_geometry.x(m_geometry.ghostPosition());
    QPen dashed(m_place[2], m_geometry.lineWidth());
    dashed.setDashPattern({2, 1.5});
    QPainterPath path(target);
    const qreal radius = std::min(step / 2, std::abs(x - target.x()));
    path.lineTo(x - radius, target.y());
    path.cubicTo(QPointF(x, target.y()), QPointF(x, target.y()), QPointF(x, target.y() + up * radius));
    path.lineTo(x, target.y() + up * shown * step);
    painter.setRenderHint(QPainter::Antialiasing, true);
    painter.setBrush(Qt::NoBrush);
    painter.setPen(dashed);
    painter.drawPath(path);
    for (int k = 1; k <= shown; ++k)
        paintMark(painter, {x, target.y() + up * k * step}, placeBit(Place::Clone), false, true);
}

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a pane draws beside and around its text: line numbers, frames of hunks, tints of changed rows, stand-ins.
#include "app/settle/row_layout.h"
#include "app/settle/text_codec.h"
#include "app/settle/text_pane.h"
#include "app/support/theme.h"

#include <QApplication>
#include <QPainter>
#include <QTextBlock>

#include <algorithm>

namespace espalier {

namespace {

// Where characters [from, to) stand: a place in each line that has some of them, from the layout's corner.
template <typename Paint> void atEachLine(const QTextLayout& layout, int from, int to, Paint paint)
{
    const QTextLine first = layout.lineForTextPosition(from);
    for (int i = first.isValid() ? first.lineNumber() : layout.lineCount(); i < layout.lineCount(); ++i) {
        const QTextLine line = layout.lineAt(i);
        const int begin = std::max(from, line.textStart()), end = std::min(to, line.textStart() + line.textLength());
        if (line.textStart() >= to)
            break;
        const double left = line.cursorToX(begin);
        paint(QRectF(left, line.y(), line.cursorToX(end) - left, line.height()));
    }
}

} // namespace

void TextPane::paintGutter(QPaintEvent* event)
{
    layOutView();
    QPainter painter(m_gutter);
    painter.fillRect(event->rect(), palette().color(QPalette::Base));
    painter.setFont(font());
    const int advance = fontMetrics().horizontalAdvance(QLatin1Char('9'));
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QRectF room = rectOfRow(block);
        if (room.top() > event->rect().bottom())
            break;
        const PaneRow tagged = rowOf(block);
        const HunkFrame* frame = frameAt(block.blockNumber());
        // Not the block's height: the last one has the document's margin too.
        const QTextLine line = block.layout()->lineAt(0);
        const double above = isWrapped() && line.isValid() ? line.y() + m_layout->hanging(block) : 0;
        const QRectF place(0, room.top() + above, m_gutter->width() - advance * 0.75,
                           line.isValid() ? line.height() : room.height());
        painter.setPen(frame ? frame->line : theme::quiet(palette()));
        if (tagged.kind == ChangedLine::Removed)
            painter.drawText(place, Qt::AlignRight | Qt::AlignVCenter, QStringLiteral("−"));
        else if (tagged.kind == ChangedLine::Added)
            painter.drawText(place, Qt::AlignRight | Qt::AlignVCenter, QStringLiteral("+"));
        else if (const int number = numberOfRow(block.blockNumber()); number > 0)
            painter.drawText(place, Qt::AlignRight | Qt::AlignVCenter, QString::number(number));
    }
}

void TextPane::paintFrames(QPainter& painter)
{
    const double right = viewport()->width() - 1.5;
    double top = 0;
    const HunkFrame* open = nullptr;
    const auto close = [&](double bottom) {
        if (!open)
            return;
        const bool current = open->hunk == m_currentHunk;
        const double width = current ? 2 : 1;
        // A line's underscores reach its very bottom: the upper edge stays below those of the line before.
        const QRectF box(width / 2 + 0.5, top + 1, right - width / 2, bottom - top - 0.5);
        painter.setPen(QPen(open->line, width, open->dashed ? Qt::DashLine : Qt::SolidLine));
        painter.setBrush(open->fill);
        painter.drawRoundedRect(box, 4, 4);
        open = nullptr;
    };
    QRectF room;
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        room = rectOfRow(block);
        if (room.top() > viewport()->height() + room.height())
            break;
        const int row = block.blockNumber();
        const HunkFrame* frame = frameAt(row);
        if (frame != open) {
            close(room.top());
            // A frame that begins above the view is drawn from there, so that its edge stays out of sight.
            top = room.top() - (frame && row > frame->firstRow ? room.height() : 0);
            open = frame;
        }
    }
    close(room.bottom());
}

void TextPane::paintNotes(QPainter& painter)
{
    const int inset = fontMetrics().horizontalAdvance(QLatin1Char(' '));
    int before = -1;
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QRectF room = rectOfRow(block);
        if (room.top() > viewport()->height())
            break;
        const int row = block.blockNumber();
        const HunkFrame* frame = frameAt(row);
        if (frame && row == frame->firstRow && !frame->placeholder.isEmpty() && block.text().isEmpty()) {
            painter.setPen(frame->line);
            painter.setFont(theme::sized(QApplication::font(), 0.95));
            const QTextLine line = block.layout()->lineAt(0);
            const double height = isWrapped() && line.isValid() ? line.height() : room.height();
            const QRectF place(inset, room.top(), viewport()->width() - 2 * inset, height);
            painter.drawText(place, Qt::AlignLeft | Qt::AlignVCenter,
                             painter.fontMetrics().elidedText(frame->placeholder, Qt::ElideRight, int(place.width())));
        }
        if (frame && row > frame->firstRow && row - frame->firstRow <= frame->ghost.size() && block.text().isEmpty())
            paintGhost(painter, room, *frame, row);
        const bool gap = before >= 0 ? row > before + 1 : m_someHidden && row > 0 && !block.previous().isVisible();
        if (gap) {
            painter.setPen(QPen(theme::quiet(palette()), 1, Qt::DotLine));
            painter.drawLine(QPointF(0, room.top() + 0.5), QPointF(viewport()->width(), room.top() + 0.5));
        }
        before = row;
    }
}

// Lighter than text and slanted, behind a dotted line: nobody takes it for what the file will hold.
void TextPane::paintGhost(QPainter& painter, const QRectF& room, const HunkFrame& frame, int row)
{
    const int inset = fontMetrics().horizontalAdvance(QLatin1Char(' '));
    painter.setPen(QPen(frame.line, 2, Qt::DotLine));
    painter.drawLine(QPointF(inset, room.top() + 2), QPointF(inset, room.bottom() - 1));
    QFont slanted = font();
    slanted.setItalic(true);
    painter.setFont(slanted);
    painter.setPen(theme::fitted(theme::quiet(palette()), frame.fill, 4.5));
    if (isWrapped()) {
        m_layout->layOutShown(ghostAt(row))->draw(&painter, {contentOffset().x(), room.top()});
        return;
    }
    QTextOption option;
    option.setTabStopDistance(tabStopDistance());
    option.setWrapMode(QTextOption::NoWrap);
    const double left = contentOffset().x() + document()->documentMargin() + 2 * inset;
    painter.drawText(QRectF(left, room.top(), 1e6, room.height()), frame.ghost.at(row - frame.firstRow - 1), option);
}

void TextPane::paintEvent(QPaintEvent* event)
{
    layOutView();
    {
        QPainter painter(viewport());
        painter.setRenderHint(QPainter::Antialiasing);
        paintFrames(painter);
        // Rows of a change stand on their own tint.
        for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
            if (!block.isVisible())
                continue;
            const QRectF room = rectOfRow(block);
            if (room.top() > viewport()->height())
                break;
            const ChangedLine::Kind kind = rowOf(block).kind;
            if (kind == ChangedLine::Same)
                continue;
            painter.fillRect(QRectF(4, room.top(), viewport()->width() - 8, room.height()),
                             kind == ChangedLine::Added ? theme::successTint(palette()) : theme::dangerTint(palette()));
        }
        paintMarks(painter);
        paintSought(painter);
    }
    QPlainTextEdit::paintEvent(event);
    QPainter painter(viewport());
    paintStandIns(painter);
    paintNotes(painter);
}

// Changed words stand on a deeper tint of their frame, with a line below them for who does not see that.
void TextPane::paintMarks(QPainter& painter)
{
    for (QTextBlock block = firstVisibleBlock(); m_marksOf && block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QPointF at = blockBoundingGeometry(block).translated(contentOffset()).topLeft();
        if (at.y() > viewport()->height())
            break;
        const HunkFrame* frame = frameAt(block.blockNumber());
        if (!frame || block.text().isEmpty())
            continue;
        const ChangedLine::Kind kind = rowOf(block).kind;
        const QColor line = kind == ChangedLine::Added     ? theme::success(palette())
                            : kind == ChangedLine::Removed ? theme::danger(palette())
                                                           : frame->line;
        const QColor ground = kind == ChangedLine::Added     ? theme::successTint(palette())
                              : kind == ChangedLine::Removed ? theme::dangerTint(palette())
                                                             : frame->fill;
        const int row = block.blockNumber() - frame->firstRow;
        for (const RowMark& mark : std::ranges::equal_range(m_marksOf(frame->hunk), row, {}, &RowMark::row))
            atEachLine(*block.layout(), mark.from, mark.to, [&](const QRectF& span) {
                const QRectF place = span.translated(at).adjusted(0, 1, 0, 0);
                painter.fillRect(place, theme::mixed(ground, line, 0.14));
                painter.fillRect(QRectF(place.left(), place.bottom() - 1.5, place.width(), 1.5), line);
            });
    }
}

void TextPane::setSought(const Sought& sought)
{
    if (sought == m_sought)
        return;
    m_sought = sought;
    viewport()->update();
}

// What is looked for, and the brackets at the cursor: framed, so that whoever sees no tint sees them too.
void TextPane::paintSought(QPainter& painter)
{
    if (m_sought.words.isEmpty() && m_brackets.empty())
        return;
    const QColor line = theme::focusRing(palette());
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QPointF at = blockBoundingGeometry(block).translated(contentOffset()).topLeft();
        if (at.y() > viewport()->height())
            break;
        const auto frame = [&](int from, int to) {
            atEachLine(*block.layout(), from, to, [&](const QRectF& span) {
                painter.drawRoundedRect(span.translated(at).adjusted(-0.5, 1.5, 0.5, -0.5), 2, 2);
            });
        };
        painter.setPen(QPen(line, 1));
        painter.setBrush(theme::selectionTint(palette()));
        constexpr std::size_t mostInLine = 1000;
        for (const qsizetype from : matchesIn(block.text(), m_sought, mostInLine))
            frame(int(from), int(from + m_sought.words.size()));
        painter.setBrush(Qt::NoBrush);
        painter.setPen(QPen(line, 1.5));
        for (const int bracket : m_brackets)
            if (bracket >= block.position() && bracket < block.position() + block.length())
                frame(bracket - block.position(), bracket - block.position() + 1);
    }
}

// A font has nothing for a stand-in but its sign for what it lacks: what is meant is drawn over that.
void TextPane::paintStandIns(QPainter& painter)
{
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QPointF at = blockBoundingGeometry(block).translated(contentOffset()).topLeft();
        if (at.y() > viewport()->height())
            break;
        const QString text = block.text();
        if (std::ranges::none_of(text, [](QChar c) { return c.isSurrogate(); }))
            continue;
        for (int i = 0; i < int(text.size()); ++i) {
            if (!TextCodec::isStandIn(text, i))
                continue;
            const QTextLine line = block.layout()->lineForTextPosition(i);
            if (!line.isValid() || (!isWrapped() && at.x() + line.cursorToX(i) > viewport()->width()))
                break;
            const double left = line.cursorToX(i), right = line.cursorToX(i + 1);
            const QRectF place(at.x() + left, at.y() + line.y(), std::max(right - left, 4.0), line.height());
            painter.fillRect(place, palette().color(QPalette::Base));
            const QString symbol = TextCodec::symbolOf(text.at(i));
            QFont small = font();
            small.setPointSizeF(font().pointSizeF() * (symbol.size() > 2 ? 0.35 : symbol.size() > 1 ? 0.55 : 1.0));
            painter.setFont(small);
            painter.setPen(theme::warning(palette()));
            painter.drawText(place, Qt::AlignCenter, symbol);
        }
    }
}

} // namespace espalier

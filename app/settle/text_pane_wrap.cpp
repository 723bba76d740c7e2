// SPDX-License-Identifier: MIT
//
// Where a pane's rows are: beside those of other panes, wrapped or not, in view or scrolled to.
#include "app/settle/row_layout.h"
#include "app/settle/text_pane.h"

#include <QResizeEvent>
#include <QScrollBar>
#include <QTextBlock>

#include <algorithm>

namespace espalier {

// In place of the document that the edit has made for itself.
RowLayout* TextPane::takeLayout()
{
    const int width = cursorWidth();
    auto* made = new QTextDocument(this);
    made->setDefaultFont(font());
    auto* layout = new RowLayout(made, this, [this] { return firstVisibleBlock().blockNumber(); });
    made->setDocumentLayout(layout);
    setDocument(made);
    setCursorWidth(width);
    layout->setShownIn([this](int row) { return ghostAt(row); });
    return layout;
}

void TextPane::standBeside(TextPane& other) { other.m_layout->standBeside(m_layout); }

bool TextPane::isWrapped() const { return m_layout->heights().isWrapped(); }

void TextPane::setWrapped(bool wrapped)
{
    if (isWrapped() == wrapped)
        return;
    const QTextBlock top = firstVisibleBlock();
    m_layout->heights().setWrapped(wrapped);
    verticalScrollBar()->setValue(top.firstLineNumber());
}

QRectF TextPane::rectOfRow(const QTextBlock& block) const
{
    QRectF room = blockBoundingGeometry(block).translated(contentOffset());
    const QTextBlock top = firstVisibleBlock();
    if (block.blockNumber() < top.blockNumber())
        room.translate(0, -m_layout->hanging(top));
    else
        room.setTop(room.top() - m_layout->hanging(block));
    return room;
}

QString TextPane::ghostAt(int row) const
{
    const HunkFrame* frame = frameAt(row);
    const int line = frame ? row - frame->firstRow - 1 : -1;
    return line >= 0 && line < frame->ghost.size() ? frame->ghost.at(line) : QString();
}

void TextPane::scrollToRow(int row)
{
    QTextBlock block = document()->findBlockByNumber(row);
    if (!block.isValid())
        return;
    const int lines = viewport()->height() / std::max(1, fontMetrics().lineSpacing());
    if (isWrapped()) // what is going to be in view is counted, no longer guessed
        for (QTextBlock near = document()->findBlockByNumber(std::max(0, row - lines));
             near.isValid() && near.blockNumber() < row + lines; near = near.next())
            m_layout->blockBoundingRect(near);
    verticalScrollBar()->setValue(block.firstLineNumber() - lines / 4);
}

// The edit has forgotten how many lines its rows have.
void TextPane::countRowsAgain()
{
    if (!isWrapped())
        return;
    m_layout->heights().countAgain();
}

void TextPane::resizeEvent(QResizeEvent* event)
{
    const QTextBlock top = firstVisibleBlock();
    const int line = verticalScrollBar()->value() - top.firstLineNumber();
    m_layout->setWhole(true);
    QPlainTextEdit::resizeEvent(event);
    m_layout->setWhole(false);
    placeGutter();
    if (!isWrapped())
        return;
    if (event->oldSize().width() != event->size().width())
        countRowsAgain();
    m_layout->blockBoundingRect(top); // counted, no longer guessed
    verticalScrollBar()->setValue(top.firstLineNumber() + std::clamp(line, 0, std::max(0, top.lineCount() - 1)));
}

void TextPane::changeEvent(QEvent* event)
{
    QPlainTextEdit::changeEvent(event);
    if (event->type() == QEvent::ApplicationFontChange)
        updateFont();
    if (event->type() == QEvent::ApplicationFontChange || event->type() == QEvent::FontChange)
        countRowsAgain();
}

void TextPane::scrollContentsBy(int dx, int dy)
{
    if (!isWrapped()) {
        QPlainTextEdit::scrollContentsBy(dx, dy);
        return;
    }
    // While rows are on their way the scroll bar may stand where there is no line.
    if (!m_layout->heights().agree() || verticalScrollBar()->value() >= document()->lineCount())
        return;
    // The edit would move what is on the screen by how far the new beginning is from the old one, and both are measured as if the
    // view had begun at one of them already.
    viewport()->setUpdatesEnabled(false);
    QPlainTextEdit::scrollContentsBy(dx, dy);
    viewport()->setUpdatesEnabled(true);
    Q_EMIT updateRequest(viewport()->rect(), 0);
}

// Before something is painted: what changes meanwhile would be painted in two ways.
void TextPane::layOutView()
{
    if (!isWrapped())
        return;
    m_layout->heights().keepEqual();
    double below = contentOffset().y();
    for (QTextBlock block = firstVisibleBlock(); block.isValid() && below < viewport()->height(); block = block.next())
        below += m_layout->blockBoundingRect(block).height();
}

} // namespace espalier

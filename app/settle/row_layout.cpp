// SPDX-License-Identifier: MIT
#include "app/settle/row_layout.h"

#include <QScopedValueRollback>
#include <QScrollBar>
#include <QTextBlock>
#include <QTextDocument>
#include <QTextLayout>

#include <algorithm>
#include <cmath>

namespace espalier {

namespace {

constexpr int mostExactly = 400; // rows that are counted at once: more are guessed until they are looked at

} // namespace

bool RowHeights::agree() const
{
    return m_paused == 0 && std::ranges::all_of(m_panes, [&](const RowLayout* pane) {
               return pane->document()->blockCount() == m_panes.front()->document()->blockCount();
           });
}

void RowHeights::setWrapped(bool wrapped)
{
    if (wrapped == m_wrapped)
        return;
    m_wrapped = false; // Qt's own layout lays all out anew
    m_tops.clear();
    for (RowLayout* pane : m_panes) {
        pane->m_pane->viewport()->setUpdatesEnabled(false);
        pane->m_pane->setLineWrapMode(wrapped ? QPlainTextEdit::WidgetWidth : QPlainTextEdit::NoWrap);
        pane->m_pane->viewport()->setUpdatesEnabled(true);
        pane->m_rows = pane->document()->blockCount();
    }
    m_wrapped = wrapped;
    if (wrapped)
        countAgain();
}

void RowHeights::keepEqual()
{
    if (!m_wrapped || m_telling || !agree())
        return;
    const int lines = m_panes.front()->document()->lineCount();
    if (!std::ranges::all_of(m_panes, [&](const RowLayout* pane) { return pane->document()->lineCount() == lines; }))
        countAgain();
}

void RowHeights::setLines(QTextBlock& block, int lines)
{
    if (block.lineCount() == lines)
        return;
    block.setLineCount(lines);
    m_changed = true;
}

const RowHeights::Tops& RowHeights::topsOf(int row)
{
    const auto [at, isNew] = m_tops.try_emplace(row);
    if (!isNew)
        return at->second;
    std::vector<double> heights;
    std::vector<QTextBlock> blocks;
    const auto grow = [&](const QTextLayout& layout) {
        for (int i = 0; i < layout.lineCount(); ++i) {
            if (std::size_t(i) == heights.size())
                heights.push_back(0);
            heights[std::size_t(i)] = std::max(heights[std::size_t(i)], layout.lineAt(i).height());
        }
    };
    for (const RowLayout* pane : m_panes) {
        blocks.push_back(pane->document()->findBlockByNumber(row));
        const QTextBlock& block = blocks.back();
        if (block.layout()->lineCount() == 0)
            pane->layOut(block);
        grow(*block.layout());
        if (const QString shown = pane->m_shown ? pane->m_shown(row) : QString();
            !shown.isEmpty() && block.length() <= 1)
            grow(*pane->layOutShown(shown));
    }
    Tops& tops = at->second;
    tops.push_back(0);
    for (const double height : heights)
        tops.push_back(tops.back() + height);
    for (std::size_t i = 0; i < m_panes.size(); ++i) {
        m_panes[i]->place(blocks[i], tops, 0);
        setLines(blocks[i], blocks[i].isVisible() ? int(heights.size()) : 0);
    }
    return tops;
}

void RowHeights::guess(int first, int end, bool all)
{
    std::vector<QTextBlock> blocks;
    std::vector<int> columns;
    for (const RowLayout* pane : m_panes) {
        blocks.push_back(pane->document()->findBlockByNumber(first));
        const double width = QFontMetricsF(pane->document()->defaultFont()).horizontalAdvance(QLatin1Char('0'));
        columns.push_back(std::max(1, int(pane->lineWidth() / std::max(1.0, width))));
    }
    for (int row = first; row < end && blocks.front().isValid(); ++row) {
        const int now = blocks.front().lineCount();
        int lines = now;
        if (all || std::ranges::any_of(blocks, [now](const QTextBlock& block) { return block.lineCount() != now; })) {
            lines = 1;
            for (std::size_t i = 0; i < blocks.size(); ++i)
                lines = std::max(lines, (blocks[i].length() - 1 + columns[i] - 1) / columns[i]);
        }
        for (std::size_t i = 0; i < blocks.size(); ++i) {
            setLines(blocks[i], blocks[i].isVisible() ? lines : 0);
            blocks[i] = blocks[i].next();
        }
    }
}

void RowHeights::countAgain(int first, int end)
{
    if (!m_wrapped || !agree())
        return;
    m_tops.clear();
    end = std::min(end, m_panes.front()->document()->blockCount());
    if (end - first > mostExactly)
        guess(first, end, false);
    else
        for (int row = std::max(0, first); row < end; ++row)
            topsOf(row);
    m_changed = true;
    tell();
}

void RowHeights::countAgain()
{
    if (!m_wrapped || !agree())
        return;
    m_tops.clear();
    guess(0, m_panes.front()->document()->blockCount(), true);
    m_changed = true;
    tell();
}

// Once for all that was counted, and in all panes: what they show begins in the same row's same line before and after.
void RowHeights::tell()
{
    if (!m_changed || m_telling || m_paused > 0)
        return;
    const QScopedValueRollback telling(m_telling, true);
    for (int round = 0; m_changed && round < 4; ++round) {
        m_changed = false;
        for (RowLayout* pane : m_panes) {
            const QScopedValueRollback whole(pane->m_whole, true);
            Q_EMIT pane->documentSizeChanged(pane->documentSize());
        }
    }
    for (RowLayout* pane : m_panes) {
        pane->keepRange();
        pane->repaintAll();
    }
}

int RowHeights::lastTop(int viewHeight)
{
    const QTextDocument* document = m_panes.front()->document();
    const double room = viewHeight - document->documentMargin() - 1;
    double height = document->documentMargin();
    int lines = 0;
    for (QTextBlock block = document->lastBlock(); block.isValid(); block = block.previous()) {
        if (!block.isVisible())
            continue;
        const Tops& tops = topsOf(block.blockNumber());
        height += tops.back();
        if (height > room) {
            const auto first = std::ranges::lower_bound(tops, height - room);
            lines += int(tops.end() - 1 - first);
            break;
        }
        lines += int(tops.size()) - 1;
    }
    return std::max(0, document->lineCount() - lines);
}

RowLayout::RowLayout(QTextDocument* document, QPlainTextEdit* pane, std::function<int()> topRow)
    : QPlainTextDocumentLayout(document)
    , m_pane(pane)
    , m_topRow(std::move(topRow))
    , m_heights(std::make_shared<RowHeights>())
{
    m_heights->m_panes.push_back(this);
    connect(pane->verticalScrollBar(), &QScrollBar::rangeChanged, this, [this] { keepRange(); });
}

RowLayout::~RowLayout() { std::erase(m_heights->m_panes, this); }

void RowLayout::standBeside(RowLayout* other)
{
    std::erase(other->m_heights->m_panes, other);
    other->m_heights = m_heights;
    m_heights->m_panes.push_back(other);
}

double RowLayout::lineWidth() const { return m_pane->viewport()->width() - 2 * document()->documentMargin(); }

// As QPlainTextDocumentLayout does it, without its counts.
void RowLayout::layOut(const QTextBlock& block) const
{
    QTextLayout* layout = block.layout();
    layout->setTextOption(document()->defaultTextOption());
    layout->beginLayout();
    double top = 0;
    for (QTextLine line = layout->createLine(); line.isValid(); line = layout->createLine()) {
        line.setLeadingIncluded(true);
        line.setLineWidth(lineWidth());
        line.setPosition({document()->documentMargin(), top});
        top += line.height() + (line.leading() < 0 ? std::ceil(line.leading()) : 0);
    }
    layout->endLayout();
}

std::unique_ptr<QTextLayout> RowLayout::layOutShown(const QString& text) const
{
    QFont slanted = document()->defaultFont();
    slanted.setItalic(true);
    auto layout = std::make_unique<QTextLayout>(text, slanted);
    QTextOption option = document()->defaultTextOption();
    layout->setTextOption(option);
    const double inset = 2 * QFontMetrics(document()->defaultFont()).horizontalAdvance(QLatin1Char(' '));
    layout->beginLayout();
    double top = 0;
    for (QTextLine line = layout->createLine(); line.isValid(); line = layout->createLine()) {
        line.setLeadingIncluded(true);
        line.setLineWidth(lineWidth() - inset);
        line.setPosition({document()->documentMargin() + inset, top});
        top += line.height();
    }
    layout->endLayout();
    return layout;
}

// Each line ends where the row's does: a font that stands in for another may be higher. Its end to a fraction of a pixel is what
// the edit scrolls by.
void RowLayout::place(const QTextBlock& block, const RowHeights::Tops& tops, double hanging) const
{
    const QTextLayout* layout = block.layout();
    for (int i = 0; i < layout->lineCount(); ++i) {
        QTextLine line = layout->lineAt(i);
        const double top =
            tops[std::min(std::size_t(i) + 1, tops.size() - 1)] - line.naturalTextRect().height() - hanging;
        if (line.y() != top)
            line.setPosition({document()->documentMargin(), top});
    }
}

// The edit knows how far the lines of a text are scrolled out of the view, not the room below them: where the view begins there,
// the text stands above the block.
double RowLayout::hangingOf(const QTextBlock& block, const RowHeights::Tops& tops) const
{
    const int own = block.layout()->lineCount();
    if (m_whole || own + 1 >= int(tops.size()) || block.blockNumber() != m_topRow())
        return 0;
    const int line = m_pane->verticalScrollBar()->value() - block.firstLineNumber();
    return line > own && line + 1 < int(tops.size()) ? tops[std::size_t(line)] : 0;
}

double RowLayout::hanging(const QTextBlock& block) const
{
    if (!m_heights->isWrapped() || !block.isVisible() || !m_heights->agree())
        return 0;
    return hangingOf(block, m_heights->topsOf(block.blockNumber()));
}

QRectF RowLayout::blockBoundingRect(const QTextBlock& block) const
{
    if (!m_heights->isWrapped())
        return QPlainTextDocumentLayout::blockBoundingRect(block);
    if (!block.isValid())
        return {};
    if (!block.isVisible()) {
        if (block.layout()->lineCount() == 0)
            layOut(block);
        return {};
    }
    const double margin = document()->documentMargin();
    const double below = block.next().isValid() ? 0 : margin;
    const bool fresh = block.layout()->lineCount() == 0;
    if (!m_heights->agree()) {
        if (fresh)
            layOut(block);
        return {0, 0, lineWidth() + 2 * margin, block.layout()->boundingRect().height() + below};
    }
    const int row = block.blockNumber();
    if (fresh)
        m_heights->forget(row);
    const RowHeights::Tops& tops = m_heights->topsOf(row);
    const double hangs = hangingOf(block, tops);
    place(block, tops, hangs);
    const QRectF room(0, 0, lineWidth() + 2 * margin, tops.back() - hangs + below);
    m_heights->tell();
    return room;
}

// The edit counts the lines of its own text alone, which are less than the row has.
void RowLayout::keepRange()
{
    if (!m_heights->isWrapped() || !m_pane->isVisible() || !m_heights->agree())
        return;
    if (const int last = m_heights->lastTop(m_pane->viewport()->height());
        last != m_pane->verticalScrollBar()->maximum())
        m_pane->verticalScrollBar()->setMaximum(last);
}

void RowLayout::repaintAll()
{
    constexpr double everything = 1e9;
    Q_EMIT update(QRectF(0, -document()->documentMargin(), everything, everything));
}

void RowLayout::documentChanged(int from, int removed, int added)
{
    if (!m_heights->isWrapped()) {
        QPlainTextDocumentLayout::documentChanged(from, removed, added);
        return;
    }
    const bool sameRows = document()->blockCount() == m_rows;
    m_rows = document()->blockCount();
    const QTextBlock first = document()->findBlock(from);
    QTextBlock last = document()->findBlock(from + added);
    if (!last.isValid())
        last = document()->lastBlock();
    const bool alone = sameRows && first == last && m_heights->agree();
    RowHeights::Tops before;
    if (alone)
        before = m_heights->topsOf(first.blockNumber());
    int row = first.blockNumber();
    for (QTextBlock block = first; block.isValid(); block = block.next(), ++row) {
        block.clearLayout();
        m_heights->forget(row);
        if (block.isVisible() != (block.lineCount() > 0))
            block.setLineCount(block.isVisible() ? 1 : 0);
        if (block == last)
            break;
    }
    if (alone && m_heights->topsOf(first.blockNumber()) == before) {
        Q_EMIT updateBlock(first);
        return;
    }
    if (!sameRows) {
        m_heights->m_tops.clear();
        const QScopedValueRollback whole(m_whole, true);
        Q_EMIT documentSizeChanged(documentSize());
    }
    m_heights->tell();
    repaintAll();
}

} // namespace espalier

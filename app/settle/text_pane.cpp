// SPDX-License-Identifier: MIT
#include "app/settle/text_pane.h"

#include "app/settle/code_highlighter.h"
#include "app/settle/row_layout.h"
#include "app/settle/text_codec.h"
#include "app/support/theme.h"

#include <QMimeData>
#include <QScrollBar>
#include <QTextBlock>

#include <algorithm>
#include <cmath>
#include <cstring>

namespace espalier {

namespace {

constexpr int untagged = -1;
const QString linesFormat = QStringLiteral("application/x-espalier-lines"); // UTF-16 of this machine, with stand-ins

int stateOf(const PaneRow& row) { return row.group << 3 | int(row.kind) << 1 | int(row.filler); }

class Gutter : public QWidget {
  public:
    explicit Gutter(TextPane* pane) : QWidget(pane), m_pane(pane) { setAttribute(Qt::WA_TransparentForMouseEvents); }
    QSize sizeHint() const override { return {m_pane->gutterWidth(), 0}; }

  protected:
    void paintEvent(QPaintEvent* event) override { m_pane->paintGutter(event); }
    // These come only where the pane gives rows.
    void mousePressEvent(QMouseEvent* event) override
    {
        if (const int row = m_pane->givenRowAt(event->position().toPoint().y());
            row >= 0 && event->button() == Qt::LeftButton)
            Q_EMIT m_pane->rowsGiven(row, row);
    }
    void mouseMoveEvent(QMouseEvent* event) override
    {
        const bool gives = m_pane->givenRowAt(event->position().toPoint().y()) >= 0;
        setCursor(gives ? Qt::PointingHandCursor : Qt::ArrowCursor);
        setToolTip(gives ? TextPane::tr("Takes this line (Return on it does too)") : QString());
    }

  private:
    TextPane* m_pane;
};

} // namespace

TextPane::TextPane(QWidget* parent)
    : QPlainTextEdit(parent)
    , m_layout(takeLayout())
    , m_gutter(new Gutter(this))
    , m_highlighter(new CodeHighlighter(document()))
{
    setUndoRedoEnabled(false); // undo is the flow's: of decisions and typing alike
    setLineWrapMode(NoWrap);
    setFrameShape(NoFrame);
    setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    m_highlighter->setPassOver([](const QTextBlock& block) {
        const PaneRow row = rowOf(block);
        return row.filler || row.kind == ChangedLine::Removed;
    });
    connect(this, &QPlainTextEdit::updateRequest, this, [this](const QRect& rect, int dy) {
        if (dy != 0)
            m_gutter->scroll(0, dy);
        else
            m_gutter->update(0, rect.y(), m_gutter->width(), rect.height());
    });
    connect(this, &QPlainTextEdit::cursorPositionChanged, this, [this] { findBrackets(); });
    connect(this, &QPlainTextEdit::textChanged, this, [this] { findBrackets(); });
    updateFont();
}

void TextPane::updateFont()
{
    const QFont wanted = theme::monospace();
    if (font() != wanted)
        setFont(wanted);
    setTabStopDistance(4 * QFontMetricsF(wanted).horizontalAdvance(QLatin1Char(' ')));
    placeGutter();
}

void TextPane::setRows(const std::vector<PaneRow>& rows)
{
    m_replacing = true;
    QString all;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (i > 0)
            all += QLatin1Char('\n');
        all += rows[i].text;
    }
    m_frames.clear();
    m_someHidden = false;
    document()->setPlainText(all); // the edit's own function formats all of it once more, for nothing
    tag(0, rows);
    m_numbers.clear();
    m_replacing = false;
    m_highlighter->highlightAll();
}

bool TextPane::isTagged(const QTextBlock& block) { return block.userState() != untagged; }

PaneRow TextPane::rowOf(const QTextBlock& block)
{
    const int state = std::max(0, block.userState());
    return {block.text(), state >> 3, block.userState() != untagged && (state & 1) != 0,
            ChangedLine::Kind((state >> 1) & 3)};
}

PaneRow TextPane::row(int number) const { return rowOf(document()->findBlockByNumber(number)); }

void TextPane::tag(int first, const std::vector<PaneRow>& rows)
{
    QTextBlock block = document()->findBlockByNumber(first);
    for (const PaneRow& row : rows) {
        block.setUserState(stateOf(row));
        block = block.next();
    }
    viewport()->update();
    m_gutter->update();
}

namespace {

bool counts(const PaneRow& row) { return !(row.filler && row.text.isEmpty()) && row.kind != ChangedLine::Removed; }

} // namespace

// What was typed since they were counted lies within the rows that are replaced.
void TextPane::renumber(int first, int count, const std::vector<PaneRow>& rows)
{
    const int before = count - (blockCount() - int(m_numbers.size()));
    if (m_numbers.empty() || before < 0 || first + before > int(m_numbers.size())) {
        m_numbers.clear();
        return;
    }
    const auto from = m_numbers.begin() + first, to = from + before;
    int number = 0;
    for (auto at = from; at != m_numbers.begin() && number == 0;)
        number = *--at;
    std::vector<int> fresh;
    for (const PaneRow& row : rows)
        fresh.push_back(counts(row) ? ++number : 0);
    const auto old = std::count_if(from, to, [](int n) { return n > 0; });
    const int more = int(std::ranges::count_if(fresh, [](int n) { return n > 0; }) - old);
    if (more != 0)
        for (auto at = to; at != m_numbers.end(); ++at)
            *at += *at > 0 ? more : 0;
    const auto kept = std::min(from + std::ptrdiff_t(fresh.size()), to);
    std::ranges::copy(fresh.begin(), fresh.begin() + (kept - from), from);
    if (kept != to)
        m_numbers.erase(kept, to);
    else
        m_numbers.insert(kept, fresh.begin() + (kept - from), fresh.end());
}

void TextPane::replaceRows(int first, int count, const std::vector<PaneRow>& rows)
{
    renumber(first, count, rows);
    // What is equal at both ends stays, with the cursor that may stand in it.
    int head = 0, tail = 0;
    const int wanted = int(rows.size());
    QTextBlock block = document()->findBlockByNumber(first);
    while (head < std::min(count, wanted) && block.text() == rows[std::size_t(head)].text) {
        ++head;
        block = block.next();
    }
    block = document()->findBlockByNumber(first + count - 1);
    while (tail < std::min(count, wanted) - head && block.text() == rows[std::size_t(wanted - 1 - tail)].text) {
        ++tail;
        block = block.previous();
    }
    m_replacing = true;
    // A line end put before a row makes it a new block to the document, without its tag.
    const QTextBlock behind = document()->findBlockByNumber(first + count);
    const int behindState = behind.isValid() ? behind.userState() : untagged;
    const bool behindShown = !behind.isValid() || behind.isVisible();
    QString text;
    for (int i = head; i < wanted - tail; ++i)
        text += rows[std::size_t(i)].text + QLatin1Char('\n');
    const int from = first + head, to = first + count - tail; // rows [from, to) go
    QTextCursor cursor(document());
    const bool atEnd = to >= blockCount();
    if (from < to || !text.isEmpty()) {
        const auto start = [&](int number) { return document()->findBlockByNumber(number).position(); };
        const int end = document()->characterCount() - 1;
        if (atEnd) {
            // There is no line end behind the last row: the one before the first goes or comes instead.
            text.chop(1);
            const bool keepBreak = wanted - tail > head;
            const bool none = from >= blockCount();
            cursor.setPosition(none ? end : keepBreak || from == 0 ? start(from) : start(from) - 1);
            cursor.setPosition(end, QTextCursor::KeepAnchor);
            if (none)
                text.prepend(QLatin1Char('\n'));
        } else {
            cursor.setPosition(start(from));
            cursor.setPosition(start(to), QTextCursor::KeepAnchor);
        }
        cursor.insertText(text);
    }
    tag(first, rows);
    if (QTextBlock next = document()->findBlockByNumber(first + wanted); next.isValid()) {
        next.setUserState(behindState);
        next.setVisible(behindShown);
    }
    m_replacing = false;
}

void TextPane::setFrames(std::vector<HunkFrame> frames, int currentHunk)
{
    m_frames = std::move(frames);
    m_currentHunk = currentHunk;
    viewport()->update();
    m_gutter->update();
}

const HunkFrame* TextPane::frameAt(int row) const
{
    const auto after = std::ranges::upper_bound(m_frames, row, {}, &HunkFrame::firstRow);
    if (after == m_frames.begin())
        return nullptr;
    const HunkFrame& frame = *(after - 1);
    return row < frame.firstRow + frame.rows ? &frame : nullptr;
}

void TextPane::setMaximumNumber(int number)
{
    const int digits = std::max(2, int(QString::number(number).size()));
    if (digits == m_digits)
        return;
    m_digits = digits;
    placeGutter();
}

void TextPane::setVisibleRows(const std::vector<char>& visible)
{
    if (visible.empty() && !m_someHidden)
        return;
    m_someHidden = !visible.empty();
    std::size_t number = 0; // counted here: to ask a block for it, or to change one, costs far more than to look at it
    for (QTextBlock block = document()->begin(); block.isValid(); block = block.next(), ++number) {
        const bool show = number >= visible.size() || visible[number] != 0;
        if (block.isVisible() == show && (block.lineCount() > 0) == show)
            continue;
        block.setVisible(show);
        block.setLineCount(show ? 1 : 0);
    }
    auto* layout = static_cast<QPlainTextDocumentLayout*>(document()->documentLayout());
    layout->requestUpdate();
    Q_EMIT layout->documentSizeChanged(layout->documentSize());
}

int TextPane::gutterWidth() const { return fontMetrics().horizontalAdvance(QLatin1Char('9')) * (m_digits + 2); }

void TextPane::placeGutter()
{
    setViewportMargins(gutterWidth(), 0, 0, 0);
    const QRect room = contentsRect();
    m_gutter->setGeometry(room.left(), room.top(), gutterWidth(), room.height());
}

int TextPane::numberOfRow(int row) const
{
    if (int(m_numbers.size()) != blockCount()) {
        m_numbers.clear();
        int number = 0;
        m_numbers.reserve(std::size_t(blockCount()));
        for (QTextBlock block = document()->begin(); block.isValid(); block = block.next()) {
            // As rowOf(), without taking each row's text.
            const int state = std::max(0, block.userState());
            const bool filler = isTagged(block) && (state & 1) != 0;
            const auto kind = ChangedLine::Kind((state >> 1) & 3);
            const bool counted = !(filler && block.length() <= 1) && kind != ChangedLine::Removed;
            number += counted;
            m_numbers.push_back(counted ? number : 0);
        }
    }
    const int number = std::size_t(row) < m_numbers.size() ? m_numbers[std::size_t(row)] : 0;
    return number == 0 ? 0 : number + m_firstNumber - 1;
}

int TextPane::rowOfNumber(int number) const
{
    int found = -1;
    for (int row = 0; row < blockCount(); ++row) {
        const int here = numberOfRow(row);
        if (here > number)
            break;
        if (here > 0)
            found = row;
    }
    return found;
}

bool TextPane::event(QEvent* event)
{
    if (event->type() == QEvent::ShortcutOverride) {
        auto* key = static_cast<QKeyEvent*>(event);
        if (key->matches(QKeySequence::Undo) || key->matches(QKeySequence::Redo)) {
            event->ignore();
            return true;
        }
    }
    return QPlainTextEdit::event(event);
}

void TextPane::setGivesRows(bool gives)
{
    m_givesRows = gives;
    m_gutter->setAttribute(Qt::WA_TransparentForMouseEvents, !gives);
    m_gutter->setMouseTracking(gives);
}

int TextPane::givenRowAt(int y) const
{
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        if (!block.isVisible())
            continue;
        const QRectF room = rectOfRow(block);
        if (y < room.top())
            break;
        if (y >= room.bottom())
            continue;
        const PaneRow row = rowOf(block);
        return frameAt(block.blockNumber()) && !row.filler && row.kind != ChangedLine::Removed ? block.blockNumber()
                                                                                               : -1;
    }
    return -1;
}

QMimeData* TextPane::createMimeDataFromSelection() const
{
    const QTextCursor cursor = textCursor();
    QStringList lines;
    const int start = cursor.selectionStart(), end = cursor.selectionEnd();
    for (QTextBlock block = document()->findBlock(start); block.isValid() && block.position() <= end;
         block = block.next()) {
        if (rowOf(block).filler && block.text().isEmpty())
            continue;
        const int from = std::max(0, start - block.position());
        lines.append(block.text().mid(from, end - block.position() - from));
    }
    auto mime = std::make_unique<QMimeData>();
    const QString text = lines.join(QLatin1Char('\n'));
    mime->setText(TextCodec::real(text));
    // Another pane gets the bytes too, which the plain text cannot hold.
    if (mime->text() != text)
        mime->setData(linesFormat, QByteArray(reinterpret_cast<const char*>(text.utf16()), text.size() * 2));
    return mime.release();
}

bool TextPane::canInsertFromMimeData(const QMimeData* source) const { return source->hasText(); }

void TextPane::insertFromMimeData(const QMimeData* source)
{
    if (isReadOnly() || !source->hasText())
        return;
    QString text = source->text();
    if (const QByteArray lines = source->data(linesFormat); !lines.isEmpty()) {
        text.resize(lines.size() / 2);
        std::memcpy(text.data(), lines.constData(), std::size_t(text.size()) * 2);
    }
    textCursor().insertText(TextCodec::shown(text));
    ensureCursorVisible();
}

} // namespace espalier

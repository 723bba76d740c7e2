// SPDX-License-Identifier: MIT
#include "app/history/diff_view.h"

#include "app/support/text.h"
#include "app/support/theme.h"
#include "core/merge/changed_words.h"

#include <KSyntaxHighlighting/Definition>
#include <KSyntaxHighlighting/Repository>
#include <KSyntaxHighlighting/SyntaxHighlighter>
#include <KSyntaxHighlighting/Theme>

#include <QPainter>
#include <QTextBlock>

#include <algorithm>

namespace espalier {

namespace {
// Loading the definitions' index takes a moment; once is enough.
KSyntaxHighlighting::Repository& definitions()
{
    static KSyntaxHighlighting::Repository repository;
    return repository;
}
} // namespace

class DiffView::Margin : public QWidget {
  public:
    explicit Margin(DiffView* view) : QWidget(view), m_view(view) {}

  protected:
    void paintEvent(QPaintEvent* event) override { m_view->paintMargin(event); }

  private:
    DiffView* m_view;
};

// Colours the lines of the file; the headings between the hunks are words, not code.
class DiffView::Highlighter : public KSyntaxHighlighting::SyntaxHighlighter {
  public:
    explicit Highlighter(DiffView* view) : SyntaxHighlighter(view->document()), m_view(view) {}

  protected:
    void highlightBlock(const QString& text) override
    {
        const auto at = std::size_t(currentBlock().blockNumber());
        const bool heading = at < m_view->m_lines.size() && m_view->m_lines[at].heading;
        SyntaxHighlighter::highlightBlock(heading ? QString() : text);
    }

  private:
    DiffView* m_view;
};

DiffView::DiffView(QWidget* parent)
    : QPlainTextEdit(parent), m_margin(new Margin(this)), m_highlighter(new Highlighter(this))
{
    setReadOnly(true);
    setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    setLineWrapMode(NoWrap);
    setFont(theme::monospace());
    setFrameShape(QFrame::NoFrame);
    setAccessibleName(tr("Changed lines"));
    connect(this, &QPlainTextEdit::updateRequest, m_margin, qOverload<>(&QWidget::update));
}

DiffView::~DiffView() = default;

void DiffView::show(const FileChange& file)
{
    m_lines.clear();
    m_note.clear();
    m_name = toText(file.newPath.empty() ? file.oldPath : file.newPath);
    if (file.binary)
        m_note = tr("A binary file; its lines are not shown.");
    else if (file.tooBig)
        m_note = tr("This change is too big to be shown line by line.");
    else if (file.hunks.empty())
        m_note = file.before.mode != file.after.mode && file.before.id == file.after.id
                     ? tr("Only the file's mode changed.")
                     : tr("No line changed.");
    else
        m_lines = linesOf(file);
    fill();
}

void DiffView::showNote(const QString& words)
{
    m_lines.clear();
    m_name.clear();
    m_note = words;
    fill();
}

std::vector<DiffView::Line> DiffView::linesOf(const FileChange& file) const
{
    std::vector<Line> lines;
    for (const DiffHunk& hunk : file.hunks) {
        Line heading;
        heading.heading = true;
        // Compared texts that are no files have no line numbers.
        if (hunk.oldStart > 0 || hunk.newStart > 0)
            heading.text = tr("from line %1").arg(std::max(hunk.newStart, 1));
        if (!hunk.header.empty())
            heading.text += (heading.text.isEmpty() ? QString() : QStringLiteral("  \u00b7  ")) + toText(hunk.header);
        else if (heading.text.isEmpty())
            heading.text = tr("message");
        lines.push_back(std::move(heading));
        for (const DiffLine& each : hunk.lines) {
            Line line;
            line.kind = each.kind;
            line.oldNumber = each.oldNumber;
            line.newNumber = each.newNumber;
            // Tabs are the one control character that code lines keep.
            QStringList parts;
            for (std::string_view rest = each.text;;) {
                const std::size_t tab = rest.find('\t');
                parts << toText(rest.substr(0, tab));
                if (tab == std::string_view::npos)
                    break;
                rest.remove_prefix(tab + 1);
            }
            line.text = parts.join(QLatin1Char('\t'));
            if (each.noNewline)
                line.text += tr("  (no line end)");
            lines.push_back(std::move(line));
        }
    }
    markWords(lines);
    return lines;
}

namespace {

std::string_view view(const QByteArray& bytes) { return {bytes.data(), std::size_t(bytes.size())}; }

std::vector<std::pair<int, int>> marksIn(const QByteArray& line, const std::vector<WordSpan>& spans)
{
    const auto upTo = [&](int byte) { return int(QString::fromUtf8(line.first(byte)).size()); };
    std::vector<std::pair<int, int>> marks;
    for (const WordSpan& span : spans)
        marks.emplace_back(upTo(span.from), upTo(span.to));
    return marks;
}

} // namespace

// A run of deleted lines followed by as many added ones: the first became the first, and so on.
void DiffView::markWords(std::vector<Line>& lines)
{
    for (std::size_t at = 0; at < lines.size();) {
        std::size_t deleted = at;
        while (deleted < lines.size() && lines[deleted].kind == DiffLine::Deleted)
            ++deleted;
        std::size_t added = deleted;
        while (added < lines.size() && lines[added].kind == DiffLine::Added)
            ++added;
        const std::size_t count = deleted - at;
        if (count > 0 && added - deleted == count)
            for (std::size_t k = 0; k < count; ++k) {
                Line& before = lines[at + k];
                Line& after = lines[deleted + k];
                const QByteArray was = before.text.toUtf8(), is = after.text.toUtf8();
                const ChangedWords words = changedWords(view(was), view(is));
                before.marks = marksIn(was, words.before);
                after.marks = marksIn(is, words.after);
            }
        at = std::max(added, at + 1);
    }
}

void DiffView::fill()
{
    m_highlighter->setDocument(nullptr);
    QStringList texts;
    for (const Line& line : m_lines)
        texts << line.text;
    setPlainText(m_lines.empty() ? m_note : texts.join(QLatin1Char('\n')));
    setViewportMargins(marginWidth(), 0, 0, 0);
    const QColor added = theme::successTint(palette()), deleted = theme::dangerTint(palette());
    QTextCursor cursor(document());
    cursor.beginEditBlock();
    QTextBlock block = document()->firstBlock();
    for (const Line& line : m_lines) {
        cursor.setPosition(block.position());
        const QColor back = line.kind == DiffLine::Added ? added : line.kind == DiffLine::Deleted ? deleted : QColor();
        if (back.isValid() || line.heading) {
            QTextBlockFormat format;
            format.setBackground(line.heading ? theme::hoverTint(palette()) : back);
            cursor.setBlockFormat(format);
        }
        QTextCharFormat format;
        if (line.heading) {
            format.setForeground(theme::quiet(palette()));
            cursor.movePosition(QTextCursor::EndOfBlock, QTextCursor::KeepAnchor);
            cursor.mergeCharFormat(format);
        }
        for (const auto& [from, to] : line.marks) {
            QColor strong = line.kind == DiffLine::Added ? theme::success(palette()) : theme::danger(palette());
            strong.setAlpha(60);
            format.setBackground(strong);
            cursor.setPosition(block.position() + from);
            cursor.setPosition(block.position() + to, QTextCursor::KeepAnchor);
            cursor.mergeCharFormat(format);
        }
        block = block.next();
    }
    cursor.endEditBlock();
    document()->clearUndoRedoStacks();
    if (!m_lines.empty()) {
        m_highlighter->setTheme(definitions().themeForPalette(palette()));
        m_highlighter->setDefinition(definitions().definitionForFileName(m_name));
        m_highlighter->setDocument(document());
    }
    moveCursor(QTextCursor::Start);
    m_margin->update();
}

int DiffView::marginWidth() const
{
    if (m_lines.empty())
        return 0;
    int most = 0;
    for (const Line& line : m_lines)
        most = std::max({most, line.oldNumber, line.newNumber});
    const int digits = int(QString::number(most).size());
    return fontMetrics().horizontalAdvance(QLatin1Char('0')) * (2 * digits + 5);
}

void DiffView::resizeEvent(QResizeEvent* event)
{
    QPlainTextEdit::resizeEvent(event);
    const QRect inside = contentsRect();
    m_margin->setGeometry(inside.left(), inside.top(), marginWidth(), inside.height());
}

void DiffView::changeEvent(QEvent* event)
{
    QPlainTextEdit::changeEvent(event);
    if (event->type() == QEvent::PaletteChange && m_highlighter)
        fill();
}

void DiffView::paintMargin(QPaintEvent*)
{
    m_margin->resize(marginWidth(), contentsRect().height());
    QPainter painter(m_margin);
    painter.fillRect(m_margin->rect(), palette().color(QPalette::Base));
    painter.setFont(font());
    const int width = fontMetrics().horizontalAdvance(QLatin1Char('0'));
    const int digits = (m_margin->width() / width - 5) / 2;
    for (QTextBlock block = firstVisibleBlock(); block.isValid(); block = block.next()) {
        const QRectF area = blockBoundingGeometry(block).translated(contentOffset());
        if (area.top() > m_margin->height())
            break;
        if (std::size_t(block.blockNumber()) >= m_lines.size())
            break;
        const Line& line = m_lines[std::size_t(block.blockNumber())];
        const bool isAdded = line.kind == DiffLine::Added, isDeleted = line.kind == DiffLine::Deleted;
        const QRect row(0, int(area.top()), m_margin->width(), int(area.height()) + 1);
        if (isAdded || isDeleted)
            painter.fillRect(row, isAdded ? theme::successTint(palette()) : theme::dangerTint(palette()));
        else if (line.heading)
            painter.fillRect(row, theme::hoverTint(palette()));
        painter.setPen(theme::quiet(palette()));
        const auto number = [&](int value, int left) {
            if (value > 0)
                painter.drawText(QRectF(left, area.top(), digits * width, area.height()), Qt::AlignRight | Qt::AlignTop,
                                 QString::number(value));
        };
        number(line.oldNumber, width / 2);
        number(line.newNumber, width / 2 + (digits + 1) * width);
        if (isAdded || isDeleted) {
            painter.setPen(isAdded ? theme::success(palette()) : theme::danger(palette()));
            painter.drawText(QRectF(width / 2 + (2 * digits + 2) * width, area.top(), width, area.height()),
                             Qt::AlignHCenter | Qt::AlignTop, isAdded ? QStringLiteral("+") : QStringLiteral("\u2212"));
        }
    }
}

} // namespace espalier

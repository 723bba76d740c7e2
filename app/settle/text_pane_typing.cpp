// SPDX-License-Identifier: MIT
//
// What keys do in a pane: text is typed with the file's own indentation, fillers are passed over.
#include "app/settle/text_codec.h"
#include "app/settle/text_pane.h"

#include <QInputMethodEvent>
#include <QKeyEvent>
#include <QTextBlock>

#include <algorithm>

namespace espalier {

namespace {

// The blanks and tabs that a line begins with.
QString indentOf(const QString& line)
{
    const auto first = std::ranges::find_if(line, [](QChar c) { return c != u' ' && c != u'\t'; });
    return line.first(first - line.begin());
}

} // namespace

// Fillers are no text: keys go past them, and deleting at a filler's edge only moves the cursor.
bool TextPane::keepToText(QKeyEvent* event)
{
    QTextCursor cursor = textCursor();
    if (cursor.hasSelection())
        return false;
    const auto isFiller = [](const QTextBlock& block) { return block.isValid() && rowOf(block).filler; };
    const bool back = event->key() == Qt::Key_Backspace, forth = event->key() == Qt::Key_Delete;
    if (back && cursor.atBlockStart() && (isFiller(cursor.block().previous()) || isFiller(cursor.block()))) {
        cursor.movePosition(QTextCursor::PreviousBlock);
        cursor.movePosition(QTextCursor::EndOfBlock);
        setTextCursor(cursor);
        leaveFiller(true);
        return true;
    }
    if (forth && cursor.atBlockEnd() && (isFiller(cursor.block().next()) || isFiller(cursor.block()))) {
        cursor.movePosition(QTextCursor::NextBlock);
        setTextCursor(cursor);
        leaveFiller(false);
        return true;
    }
    return false;
}

void TextPane::leaveFiller(bool up)
{
    QTextCursor cursor = textCursor();
    QTextBlock block = cursor.block();
    const auto stays = [this](const QTextBlock& at) {
        if (!at.isVisible())
            return false;
        const HunkFrame* frame = frameAt(at.blockNumber());
        return !rowOf(at).filler || (frame && frame->firstRow == at.blockNumber());
    };
    while (block.isValid() && !stays(block))
        block = up ? block.previous() : block.next();
    if (!block.isValid() || block == cursor.block())
        return;
    cursor.setPosition(block.position() + (up ? block.length() - 1 : 0));
    setTextCursor(cursor);
}

// A new line begins as the one that it is cut from; Tab and Shift+Tab indent as the file does.
bool TextPane::typeIndented(const QKeyEvent* event)
{
    const bool plain = !(event->modifiers() & ~(Qt::KeypadModifier | Qt::ShiftModifier));
    QTextCursor cursor = textCursor();
    if (plain && (event->key() == Qt::Key_Return || event->key() == Qt::Key_Enter)) {
        const QTextCursor start = [&] {
            QTextCursor at = cursor;
            at.setPosition(cursor.selectionStart());
            return at;
        }();
        const QString before = start.block().text().first(start.positionInBlock());
        cursor.insertText(QLatin1Char('\n') + indentOf(before));
        setTextCursor(cursor);
        ensureCursorVisible();
        return true;
    }
    const bool back = event->key() == Qt::Key_Backtab;
    if (!plain || (event->key() != Qt::Key_Tab && !back))
        return false;
    const QTextBlock first = document()->findBlock(cursor.selectionStart());
    QTextBlock last = document()->findBlock(cursor.selectionEnd());
    if (last != first && cursor.selectionEnd() == last.position())
        last = last.previous(); // a selection that ends before a row's first character does not reach into it
    if (!back && first == last) {
        cursor.insertText(indentAt(document()->findBlock(cursor.selectionStart()), cursor.selectionStart()));
        ensureCursorVisible();
        return true;
    }
    cursor.beginEditBlock();
    for (QTextBlock block = first; block.isValid(); block = block.next()) {
        const QString text = block.text();
        QTextCursor at(block);
        if (!back && !text.isEmpty()) {
            at.insertText(m_habit.kind == IndentHabit::Blanks ? QString(m_habit.step, u' ') : QStringLiteral("\t"));
        } else if (back && text.startsWith(u'\t')) {
            at.deleteChar();
        } else if (back) {
            const qsizetype blanks = std::ranges::find_if(text, [](QChar c) { return c != u' '; }) - text.begin();
            at.movePosition(QTextCursor::NextCharacter, QTextCursor::KeepAnchor,
                            int(std::min<qsizetype>(blanks, m_habit.step)));
            at.removeSelectedText();
        }
        if (block == last)
            break;
    }
    cursor.endEditBlock();
    return true;
}

// From where the cursor is to the next step.
QString TextPane::indentAt(const QTextBlock& block, int position) const
{
    if (m_habit.kind != IndentHabit::Blanks)
        return QStringLiteral("\t");
    const int column = position - block.position();
    return QString(m_habit.step - column % m_habit.step, u' ');
}

void TextPane::keyPressEvent(QKeyEvent* event)
{
    if (m_givesRows && (event->key() == Qt::Key_Return || event->key() == Qt::Key_Enter) &&
        !(event->modifiers() & ~Qt::KeypadModifier)) {
        const QTextCursor cursor = textCursor();
        const int first = document()->findBlock(cursor.selectionStart()).blockNumber();
        // A selection that ends before a row's first character does not reach into it.
        const QTextBlock end = document()->findBlock(cursor.selectionEnd());
        const bool before = cursor.hasSelection() && cursor.selectionEnd() == end.position();
        Q_EMIT rowsGiven(first, std::max(first, end.blockNumber() - int(before)));
        return;
    }
    if (!isReadOnly() && (keepToText(event) || typeIndented(event) || typeSpecial(event)))
        return;
    QPlainTextEdit::keyPressEvent(event);
    if (isReadOnly() || textCursor().hasSelection())
        return;
    switch (event->key()) {
    case Qt::Key_Up:
    case Qt::Key_Left:
    case Qt::Key_PageUp:
        leaveFiller(true);
        break;
    case Qt::Key_Down:
    case Qt::Key_Right:
    case Qt::Key_PageDown:
        leaveFiller(false);
        break;
    default:
        break;
    }
}

// Characters that the document would obey or refuse. Control characters below U+0080 are keys, not text.
bool TextPane::typeSpecial(const QKeyEvent* event)
{
    const QString text = event->text();
    if (text.isEmpty() || text.at(0) < QChar(0x80) || event->modifiers().testFlag(Qt::ControlModifier))
        return false;
    const QString shown = TextCodec::shown(text);
    if (shown == text)
        return false;
    textCursor().insertText(shown);
    ensureCursorVisible();
    return true;
}

void TextPane::inputMethodEvent(QInputMethodEvent* event)
{
    QInputMethodEvent shown(event->preeditString(), event->attributes());
    shown.setCommitString(TextCodec::shown(event->commitString()), event->replacementStart(),
                          event->replacementLength());
    QPlainTextEdit::inputMethodEvent(&shown);
    event->setAccepted(shown.isAccepted());
}

} // namespace espalier

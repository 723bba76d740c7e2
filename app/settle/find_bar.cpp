// SPDX-License-Identifier: MIT
#include "app/settle/find_bar.h"

#include "app/settle/text_codec.h"
#include "app/settle/text_pane.h"
#include "app/support/page.h"
#include "app/support/theme.h"

#include <QApplication>
#include <QCheckBox>
#include <QHBoxLayout>
#include <QIntValidator>
#include <QLineEdit>
#include <QPushButton>
#include <QShortcut>
#include <QToolButton>

#include <algorithm>
#include <climits>

namespace espalier {

namespace {

constexpr int countAfter = 200; // milliseconds without a change
constexpr int fieldWidth = 24;  // characters

QHBoxLayout* rowIn(QWidget* widget)
{
    auto* row = new QHBoxLayout(widget);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(theme::gap(widget));
    return row;
}

} // namespace

FindBar::FindBar(ConflictEditor* editor, QWidget* parent) : Card(parent), m_editor(editor)
{
    setObjectName(QStringLiteral("findBar"));
    const int space = theme::gap(this);
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(space * 2, space, space, space);
    column->setSpacing(space);
    m_find = buildFind();
    m_replace = buildReplace();
    m_line = buildLine();
    for (QWidget* part : {m_find, m_replace, m_line})
        column->addWidget(part);
    hide();
    for (const auto which :
         {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled, ConflictEditor::Pane::Commit})
        connect(m_editor->pane(which)->document(), &QTextDocument::contentsChanged, this, [this] {
            if (isVisible())
                m_count.start();
        });
    m_count.setSingleShot(true);
    m_count.setInterval(countAfter);
    connect(&m_count, &QTimer::timeout, this, [this] { say(); });
    // The pane that the keyboard was in last is the one that is meant.
    connect(qApp, &QApplication::focusChanged, this, [this](QWidget*, QWidget* now) {
        for (const auto which :
             {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled, ConflictEditor::Pane::Commit})
            if (m_editor && now && now == m_editor->pane(which) && which != m_which) {
                m_which = which;
                if (isVisible()) {
                    mark();
                    say();
                }
            }
    });
    auto* leave = new QShortcut(Qt::Key_Escape, this, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    connect(leave, &QShortcut::activated, this, [this] { close(); });
}

QWidget* FindBar::buildFind()
{
    auto* widget = new QWidget(this);
    auto* row = rowIn(widget);
    m_words = new QLineEdit(widget);
    m_words->setObjectName(QStringLiteral("findWords"));
    m_words->setPlaceholderText(tr("Find in the text"));
    m_words->setAccessibleName(tr("Find in the text"));
    m_words->setClearButtonEnabled(true);
    m_matchCase = new QCheckBox(tr("Match case"), widget);
    m_wholeWords = new QCheckBox(tr("Whole words"), widget);
    m_matchCase->setObjectName(QStringLiteral("matchCase"));
    m_wholeWords->setObjectName(QStringLiteral("wholeWords"));
    auto* previous = new QPushButton(tr("Previous"), widget);
    auto* next = new QPushButton(tr("Next"), widget);
    auto* shut = new QToolButton(widget);
    shut->setText(QStringLiteral("×"));
    shut->setAutoRaise(true);
    shut->setFocusPolicy(Qt::StrongFocus);
    previous->setAccessibleName(tr("Previous match"));
    next->setAccessibleName(tr("Next match"));
    shut->setAccessibleName(tr("Done with finding"));
    shut->setToolTip(tr("Escape"));
    m_state = new PlainLabel(widget);
    page::quieten(m_state);
    m_words->setFixedWidth(fontMetrics().averageCharWidth() * fieldWidth);
    row->addWidget(m_words);
    row->addWidget(m_state, 1);
    for (QWidget* one : {static_cast<QWidget*>(m_matchCase), static_cast<QWidget*>(m_wholeWords),
                         static_cast<QWidget*>(previous), static_cast<QWidget*>(next), static_cast<QWidget*>(shut)})
        row->addWidget(one);
    const auto changed = [this] {
        mark();
        say();
    };
    connect(m_words, &QLineEdit::textChanged, this, changed);
    connect(m_matchCase, &QCheckBox::toggled, this, changed);
    connect(m_wholeWords, &QCheckBox::toggled, this, changed);
    connect(m_words, &QLineEdit::returnPressed, this,
            [this] { findNext(!QApplication::keyboardModifiers().testFlag(Qt::ShiftModifier)); });
    connect(previous, &QPushButton::clicked, this, [this] { findNext(false); });
    connect(next, &QPushButton::clicked, this, [this] { findNext(true); });
    connect(shut, &QToolButton::clicked, this, [this] { close(); });
    return widget;
}

QWidget* FindBar::buildReplace()
{
    auto* widget = new QWidget(this);
    auto* row = rowIn(widget);
    m_with = new QLineEdit(widget);
    m_with->setObjectName(QStringLiteral("replaceWith"));
    m_with->setPlaceholderText(tr("Replace with, in the settled text"));
    m_with->setAccessibleName(tr("Replace with, in the settled text"));
    m_replaced = new PlainLabel(widget);
    page::quieten(m_replaced);
    m_one = new QPushButton(tr("Replace"), widget);
    m_all = new QPushButton(tr("Replace all"), widget);
    m_one->setObjectName(QStringLiteral("replaceOne"));
    m_all->setObjectName(QStringLiteral("replaceAll"));
    m_with->setFixedWidth(m_words->maximumWidth()); // one below the other
    row->addWidget(m_with);
    row->addWidget(m_replaced, 1);
    row->addWidget(m_one);
    row->addWidget(m_all);
    connect(m_with, &QLineEdit::returnPressed, this, [this] { replaceOne(); });
    connect(m_one, &QPushButton::clicked, this, [this] { replaceOne(); });
    connect(m_all, &QPushButton::clicked, this, [this] { replaceAll(); });
    return widget;
}

QWidget* FindBar::buildLine()
{
    auto* widget = new QWidget(this);
    auto* row = rowIn(widget);
    auto* label = new PlainLabel(tr("Go to line"), widget);
    m_number = new QLineEdit(widget);
    m_number->setObjectName(QStringLiteral("lineNumber"));
    m_number->setAccessibleName(tr("Go to line"));
    m_number->setValidator(new QIntValidator(1, INT_MAX, m_number));
    m_number->setMaximumWidth(fontMetrics().averageCharWidth() * 16);
    auto* go = new QPushButton(tr("Go"), widget);
    auto* shut = new QPushButton(tr("Cancel"), widget);
    go->setAccessibleName(tr("Go to the line"));
    shut->setToolTip(tr("Escape"));
    row->addWidget(label);
    row->addWidget(m_number);
    row->addWidget(go);
    row->addWidget(shut);
    row->addStretch(1);
    connect(m_number, &QLineEdit::returnPressed, this, [this] { goToLine(); });
    connect(go, &QPushButton::clicked, this, [this] { goToLine(); });
    connect(shut, &QPushButton::clicked, this, [this] { close(); });
    return widget;
}

TextPane* FindBar::pane() const { return m_editor->pane(m_which); }

Sought FindBar::sought() const
{
    return {TextCodec::shown(m_words->text()), m_matchCase->isChecked(), m_wholeWords->isChecked()};
}

void FindBar::openFind(bool replace)
{
    if (replace) {
        m_which = ConflictEditor::Pane::Settled; // nothing else is edited
        m_replaced->setText({});
    }
    const QString selected = pane()->textCursor().selectedText();
    if (!selected.isEmpty() && !selected.contains(QChar::ParagraphSeparator))
        m_words->setText(TextCodec::real(selected));
    m_find->show();
    m_replace->setVisible(replace);
    m_line->hide();
    show();
    mark();
    say();
    m_words->setFocus(Qt::ShortcutFocusReason);
    m_words->selectAll();
}

void FindBar::openLine()
{
    m_find->hide();
    m_replace->hide();
    m_line->show();
    for (const auto which :
         {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled, ConflictEditor::Pane::Commit})
        m_editor->pane(which)->setSought({});
    const int here = pane()->numberOfRow(pane()->textCursor().blockNumber());
    m_number->setText(here > 0 ? QString::number(here) : QString());
    show();
    m_number->setFocus(Qt::ShortcutFocusReason);
    m_number->selectAll();
}

void FindBar::close()
{
    for (const auto which :
         {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled, ConflictEditor::Pane::Commit})
        m_editor->pane(which)->setSought({});
    const bool had = isAncestorOf(focusWidget());
    hide();
    if (had || !m_editor->isAncestorOf(QApplication::focusWidget()))
        pane()->setFocus(Qt::OtherFocusReason);
}

void FindBar::mark()
{
    for (const auto which :
         {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Settled, ConflictEditor::Pane::Commit})
        m_editor->pane(which)->setSought(which == m_which && m_find->isVisibleTo(this) ? sought() : Sought{});
}

void FindBar::say()
{
    const std::vector<qsizetype> all = matchesIn(pane()->document()->toRawText(), sought());
    const QTextCursor cursor = pane()->textCursor();
    const auto here = std::ranges::lower_bound(all, qsizetype(cursor.selectionStart()));
    const bool on = here != all.end() && *here == cursor.selectionStart() &&
                    cursor.selectionEnd() - cursor.selectionStart() == sought().words.size();
    const QString where = m_which == ConflictEditor::Pane::NewBase   ? tr("New base has")
                          : m_which == ConflictEditor::Pane::Settled ? tr("Settled text")
                                                                     : tr("Your commit brings");
    m_state->setText(m_words->text().isEmpty() ? where
                     : all.empty()             ? tr("Not found in %1").arg(where)
                     : on ? tr("%1 of %2 in %3").arg(here - all.begin() + 1).arg(all.size()).arg(where)
                          : tr("%1 found in %2").arg(all.size()).arg(where));
    const bool any = !all.empty() && m_which == ConflictEditor::Pane::Settled;
    m_one->setEnabled(any);
    m_all->setEnabled(any);
}

void FindBar::findNext(bool forward)
{
    if (m_words->text().isEmpty()) {
        openFind(false);
        return;
    }
    const std::vector<qsizetype> all = matchesIn(pane()->document()->toRawText(), sought());
    if (!all.empty()) {
        const QTextCursor cursor = pane()->textCursor();
        // From behind what is selected, or from before it; from the end to the beginning.
        auto at = std::ranges::lower_bound(all, qsizetype(forward ? cursor.selectionEnd() : cursor.selectionStart()));
        if (!forward)
            at = at == all.begin() ? all.end() - 1 : at - 1;
        else if (at == all.end())
            at = all.begin();
        m_editor->select(m_which, int(*at), int(sought().words.size()));
    }
    if (isVisible())
        say();
}

void FindBar::replaceOne()
{
    const QTextCursor cursor = pane()->textCursor();
    const std::vector<qsizetype> all = matchesIn(pane()->document()->toRawText(), sought());
    const bool on = std::ranges::binary_search(all, qsizetype(cursor.selectionStart())) &&
                    cursor.selectionEnd() - cursor.selectionStart() == sought().words.size();
    // What is replaced was seen before.
    if (on && m_which == ConflictEditor::Pane::Settled)
        m_editor->replace({cursor.selectionStart()}, int(sought().words.size()), TextCodec::shown(m_with->text()));
    findNext(true);
}

void FindBar::replaceAll()
{
    if (m_which != ConflictEditor::Pane::Settled)
        return;
    const std::vector<qsizetype> all = matchesIn(pane()->document()->toRawText(), sought());
    m_editor->replace({all.begin(), all.end()}, int(sought().words.size()), TextCodec::shown(m_with->text()));
    m_replaced->setText(tr("%1 replaced").arg(all.size()));
    say();
}

void FindBar::goToLine()
{
    if (const int line = m_number->text().toInt(); line > 0)
        m_editor->showLine(m_which, line - 1);
    close();
}

} // namespace espalier

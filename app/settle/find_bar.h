// SPDX-License-Identifier: MIT
//
// Finds words in the pane that the user was in, replaces them in the settled text, and goes to a line by its number. Stands
// above the panes while it is in use. Private to app/settle.
//
//     bar->openFind(false);
//     bar->findNext(true);
#pragma once

#include "app/settle/conflict_editor.h"
#include "app/settle/line_search.h"
#include "app/support/text.h"

#include <QPointer>
#include <QTimer>

class QCheckBox;
class QLineEdit;
class QPushButton;

namespace espalier {

class FindBar : public Card {
    Q_OBJECT
  public:
    FindBar(ConflictEditor* editor, QWidget* parent);

    // With what is selected, or with what was looked for before.
    void openFind(bool replace);
    void openLine();
    // From the cursor on, and round; opens the bar where nothing was looked for yet.
    void findNext(bool forward);
    void close();

  private:
    QWidget* buildFind();
    QWidget* buildReplace();
    QWidget* buildLine();
    Sought sought() const;
    void mark();
    void say();
    void replaceOne();
    void replaceAll();
    void goToLine();
    TextPane* pane() const;

    QPointer<ConflictEditor> m_editor; // null while the page goes
    ConflictEditor::Pane m_which = ConflictEditor::Pane::Settled;
    QWidget *m_find, *m_replace, *m_line;
    QLineEdit *m_words, *m_with, *m_number;
    QCheckBox *m_matchCase, *m_wholeWords;
    QPushButton *m_one, *m_all;
    PlainLabel *m_state, *m_replaced;
    QTimer m_count; // what is typed changes how many there are
};

} // namespace espalier

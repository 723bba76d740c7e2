// SPDX-License-Identifier: MIT
//
// A pane of the conflict editor with its title; the bar on top has the colour of what it shows. Private to app/settle.
#pragma once

#include "app/settle/conflict_editor.h"
#include "app/support/text.h"

class QToolButton;

namespace espalier {

class PaneCard : public Card {
    Q_OBJECT
  public:
    PaneCard(ConflictEditor::Pane which, QWidget* parent);

    // Takes up fonts and colours, at first and after they changed.
    void dress();

    PlainLabel* title;
    PlainLabel* subtitle;
    TextPane* pane;
    QToolButton* change; // shows the side as a change; hidden over the settled text

  protected:
    void paintEvent(QPaintEvent* event) override;
    bool eventFilter(QObject* watched, QEvent* event) override;

  private:
    QColor colour(const QPalette& on) const;

    ConflictEditor::Pane m_which;
};

} // namespace espalier

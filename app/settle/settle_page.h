// SPDX-License-Identifier: MIT
//
// Walks the conflicting hunks of a replay with the user: what the new base has, what their commit brings, and the settled
// text between them. Every decision goes to the flow at once; nothing in the repository changes before Apply.
#pragma once

#include "app/session/replay_flow.h"
#include "core/conflicts/conflict_text.h"

#include <QWidget>

#include <memory>

class QAction;

namespace espalier {

class SettlePage : public QWidget {
    Q_OBJECT
  public:
    // `session` and `flow` must outlive the page.
    SettlePage(Session* session, ReplayFlow* flow, QWidget* parent = nullptr);
    ~SettlePage() override;

    // Goes to the first undecided hunk of the flow's run.
    void begin();

    // What is done in the text of the panes: finding, replacing, going to a line. For a menu; their keys work within the page.
    QList<QAction*> textActions() const;

  Q_SIGNALS:
    // Nothing is undecided any more and the user goes on: back to the dry run page, with Apply focused.
    void allSettled();
    // Back to the dry run page before everything is decided; the decisions stay.
    void closed();

  protected:
    void showEvent(QShowEvent* event) override;
    void hideEvent(QHideEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

// SPDX-License-Identifier: MIT
//
// What a replay would do, commit for commit, before anything is touched; the plan is edited here too. A view of a
// ReplayFlow: it holds no plan of its own.
//
//     connect(page, &DryRunPage::settleRequested, settlePage, &SettlePage::begin);
//     connect(page, &DryRunPage::ghostChanged, graph, …);
#pragma once

#include "app/history/ghost.h"
#include "app/session/replay_flow.h"

#include <QWidget>

#include <memory>

namespace espalier {

class DryRunPage : public QWidget {
    Q_OBJECT
  public:
    // `session` and `flow` must outlive the page; either may be null, then only what showRun() is given is shown.
    DryRunPage(Session* session, ReplayFlow* flow, QWidget* parent = nullptr);
    ~DryRunPage() override;

    // Shows a dry run as it is; called by the page itself whenever the flow has a new one.
    void showRun(const DryRunPtr& run);
    // Puts the keyboard on Apply when the run is clean, else on the list of commits.
    void focusApply();

  Q_SIGNALS:
    // An empty ghost when the page closes.
    void ghostChanged(const espalier::ReplayGhost& ghost);
    void settleRequested();
    // A commit was chosen in the list, to be shown in the graph and the commit panel.
    void commitChosen(const espalier::Oid& id);
    // The walkthrough of this very replay.
    void walkthroughRequested(const espalier::DryRunPtr& run);
    void closed();

  protected:
    bool event(QEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

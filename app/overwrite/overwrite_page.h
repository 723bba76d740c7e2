// SPDX-License-Identifier: MIT
//
// The overwrite check: what a push would replace on the fork, as a picture, and loudest what would be lost that is not the
// user's; beside it what a reviewer will see as new, and what else stands on the old commits.
//
//     session->checkOverwrite({"topic/x"}, [=](const Result<std::vector<OverwriteCheck>>& checks) { page->showFor(*checks); });
#pragma once

#include "app/session/session.h"

#include <QWidget>

#include <memory>
#include <vector>

namespace espalier {

class OverwritePage : public QWidget {
    Q_OBJECT
  public:
    // `session` must outlive the page; null: nothing is pushed, pushRequested() only tells.
    explicit OverwritePage(Session* session, QWidget* parent = nullptr);
    ~OverwritePage() override;

    void showFor(const OverwriteCheck& check);
    // Branches that moved together, the one that was asked about first: which of them are pushed the user chooses, and those go
    // in one step. At least one.
    void showFor(const std::vector<OverwriteCheck>& checks);
    const OverwriteCheck& check() const; // the first
    // The push went through (the page calls it itself for its own pushes).
    void showPushed(const Pushed& pushed);
    void showPushed(const std::vector<Pushed>& all);
    // The push was refused: says why, and that the check must be looked at again.
    void showRefused(const QString& line);

  Q_SIGNALS:
    // Emitted with every branch that the page asks the session to push.
    void pushRequested(const espalier::PushRequest& request);
    void commitChosen(const espalier::Oid& id);
    void closed();
    // The difference of a whole branch, or what else stands on the old commits, is known now and shown.
    void surroundingsShown();

  protected:
    bool event(QEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

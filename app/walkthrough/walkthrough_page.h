// SPDX-License-Identifier: MIT
//
// The step-by-step demonstration of what a rewrite does to history, with an invented topic branch or with the user's own
// dry run.
#pragma once

#include "app/session/session.h"

#include <QWidget>

#include <memory>

namespace espalier {

class WalkthroughPage : public QWidget {
    Q_OBJECT
  public:
    explicit WalkthroughPage(QWidget* parent = nullptr);
    ~WalkthroughPage() override;

    // From the first step, with the invented example.
    void showExample();
    // From the first step, with the commits of a replay of the user's.
    void showRun(const DryRun& run);

    int step() const;
    int stepCount() const;
    void setStep(int step);

  Q_SIGNALS:
    void stepChanged(int step);
    void closed();

  protected:
    // Left and Right, Home and End, Escape.
    void keyPressEvent(QKeyEvent* event) override;

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

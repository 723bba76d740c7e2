// SPDX-License-Identifier: MIT
//
// Beside the overwrite check's picture: the chosen commit with what a reviewer will see as new in it, the whole branch against
// what the fork has, and what else stands on the old commits. Reads in the background; what was asked for last is shown.
// Private to app/overwrite.
//
//     detail->setRepository(session->path());
//     detail->showRow(row);
#pragma once

#include "app/support/text.h"
#include "core/remotes/branch_difference.h"
#include "core/remotes/stands_on.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

class CheckDetail : public Card {
    Q_OBJECT
  public:
    enum Part { Commit, Whole, Standing };
    explicit CheckDetail(QWidget* parent = nullptr);
    ~CheckDetail() override;

    // Where commits are read from; empty: nowhere, and only what is known already is shown.
    void setRepository(const QString& path);
    // Shows nothing of what was shown before.
    void clear(const QString& words);
    void showRow(const CheckRow& row);
    // The branch that is looked at: nothing while its difference is not known, with `line` saying why when it will not be.
    void showWhole(const std::optional<BranchDifference>& difference, const QString& line = {});
    // `known` is false while that is not known either.
    void showStanding(const std::vector<StandsOn>& standing, bool known = true);
    void choose(Part part);
    Part part() const;
    // The keyboard goes to what is shown.
    void focusShown();

  Q_SIGNALS:
    // Show it in the history.
    void commitRequested(const espalier::Oid& id);
    // What was chosen last is shown, its lines too.
    void loaded();

  private:
    struct Private;
    std::unique_ptr<Private> d;
};

} // namespace espalier

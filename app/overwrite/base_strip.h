// SPDX-License-Identifier: MIT
//
// The foot of the overwrite check's picture: where in the upstream the two versions stand, and how far apart. Private to
// app/overwrite.
//
//     strip->show(difference, true, false); // the fork's lane alone, which the clone's has joined
#pragma once

#include "core/remotes/branch_difference.h"

#include <QWidget>

#include <optional>

namespace espalier {

class PairPicture;

class BaseStrip : public QWidget {
    Q_OBJECT
  public:
    // Goes on with the lanes of `picture`, which must outlive it.
    explicit BaseStrip(const PairPicture* picture, QWidget* parent = nullptr);

    // Which lanes come down into it; neither: there is nothing to show. Nothing for the difference: not known yet.
    void show(const std::optional<BranchDifference>& difference, bool fork, bool clone);
    QSize sizeHint() const override;
    QSize minimumSizeHint() const override { return {1, sizeHint().height()}; }

  protected:
    void paintEvent(QPaintEvent* event) override;

  private:
    bool hasOld() const { return m_fork && !m_oldBase.id.isZero(); }
    bool isOne() const { return !hasOld() || m_oldBase.id == m_newBase.id; }
    QString words(bool ofClone) const;

    const PairPicture* m_picture;
    CommitSummary m_oldBase, m_newBase; // zero ids while they are not known
    std::size_t m_between = 0;
    bool m_fork = false, m_clone = false;
};

} // namespace espalier

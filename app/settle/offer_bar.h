// SPDX-License-Identifier: MIT
//
// What is offered for the hunk that the user looks at, why, and what can be done with it. Private to app/settle.
//
//     bar->showOffer(tr("Proposed: …"), text);
//     connect(bar, &OfferBar::taken, page, [=] { … });
#pragma once

#include "core/conflicts/hunk_offer.h"

#include <QWidget>

class QPushButton;

namespace espalier {

class PlainLabel;

// "Proposed: 9 of 10 like this …", "Settled before on topic/x … (3 days ago)".
QString offerWords(const HunkOffer& offer);
// For the list, in a word or two.
QString offerBrief(const HunkOffer& offer);

class OfferBar : public QWidget {
    Q_OBJECT
  public:
    explicit OfferBar(QWidget* parent);

    // The hunk's; null where nothing is offered for it. `decided`: the hunk is, and there is nothing to take.
    void showOffer(const HunkOffer* offer, const QString& text, bool decided);
    // How many hunks of the file have an offer, how many of these are undecided, and of these were not looked at yet.
    void showFile(int all, int undecided, int unseen);

  Q_SIGNALS:
    void taken();
    void allTaken();
    void forgotten();

  private:
    PlainLabel* m_words;
    QPushButton* m_take;
    QPushButton* m_takeAll;
    QPushButton* m_forget;
};

} // namespace espalier

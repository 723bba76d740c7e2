// SPDX-License-Identifier: MIT
//
// Topic branches that have landed on the main line and can go, with a box for the clone's and one for the fork's copy.
//
//     page->reload();          // searches in the background
#pragma once

#include "app/session/session.h"

#include <QWidget>

#include <vector>

class QPushButton;
class QTreeWidget;

namespace espalier {

class Card;
class NoticeBar;
class PlainLabel;

class CleanUpPage : public QWidget {
    Q_OBJECT
  public:
    // `session` must outlive the page.
    explicit CleanUpPage(Session* session, QWidget* parent = nullptr);

    void reload();
    const std::vector<CleanUpCandidate>& candidates() const { return m_candidates; }
    QTreeWidget* list() const { return m_list; }

  Q_SIGNALS:
    void loaded();
    void closed();

  private:
    void fill();
    void deleteChosen();
    void judge();

    Session* m_session;
    std::vector<CleanUpCandidate> m_candidates;
    PlainLabel* m_sentence = nullptr;
    Card* m_card = nullptr;
    QTreeWidget* m_list;
    NoticeBar* m_notice;
    QStringList m_refusals; // of the deletions that were asked for together
    QPushButton* m_delete;
};

} // namespace espalier

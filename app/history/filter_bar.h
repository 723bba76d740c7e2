// SPDX-License-Identifier: MIT
//
// The slim bar above the graph: what to find, how many there are, and how much of the history to show.
#pragma once

#include "core/history/search.h"

#include <QTimer>
#include <QWidget>

class QLineEdit;
class QToolButton;

namespace espalier {

class PlainLabel;

class FilterBar : public QWidget {
    Q_OBJECT
  public:
    explicit FilterBar(QWidget* parent = nullptr);

    void setFolded(bool folded);
    bool isFolded() const;
    void setFocused(const QString& branch); // empty: everything is shown
    void setOnlyMatches(bool only);
    bool onlyMatches() const;
    // "3 of 12"; an empty text while nothing is searched for.
    void setResult(const QString& words, bool isTrouble = false);
    QString result() const;
    QString text() const;
    void setText(const QString& text);
    void focusField();

  Q_SIGNALS:
    // A while after the last key; an empty query ends the search.
    void queryChanged(const espalier::SearchQuery& query);
    void nextRequested();
    void previousRequested();
    void onlyMatchesChanged(bool only);
    void foldChanged(bool fold);
    void focusRequested();
    void focusLeft();
    void leaveRequested(); // Escape with nothing typed, or Down

  protected:
    bool eventFilter(QObject* watched, QEvent* event) override;

  private:
    void parse();
    QToolButton* button(const QString& words, const QString& hint, bool checkable);

    QLineEdit* m_field;
    PlainLabel* m_result;
    QToolButton* m_next;
    QToolButton* m_previous;
    QToolButton* m_only;
    QToolButton* m_fold;
    QToolButton* m_focus;
    QTimer m_delay;
};

} // namespace espalier

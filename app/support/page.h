// SPDX-License-Identifier: MIT
//
// What every page that fills the window is made of: a head with its title and a sentence, a column no wider than reads
// well, parts that are as tall as what they hold.
//
//     QVBoxLayout* column = page::readableColumn(this);
//     auto* head = new PageHead(tr("Logbook"), this);
//     head->addAction(close);
//     column->addWidget(head);
#pragma once

#include "app/support/text.h"

#include <QScrollArea>

class QBoxLayout;
class QTreeWidget;
class QVBoxLayout;

namespace espalier {

// A card with the page's title, a sentence below it, and what leads away from the page at its right end.
class PageHead : public Card {
    Q_OBJECT
  public:
    explicit PageHead(const QString& title, QWidget* parent = nullptr);
    void setTitle(const QString& title);
    // Wraps; empty: no line.
    void setSentence(const QString& sentence);
    void addAction(QWidget* action);
    PlainLabel* title() const { return m_title; }
    PlainLabel* sentence() const { return m_sentence; }

  private:
    PlainLabel* m_title;
    PlainLabel* m_sentence;
    QHBoxLayout* m_row;
};

// Scrolls what does not fit and is never taller than what it holds, so that what stands below follows at once. In its
// layout it takes a stretch far above that of the empty room behind it.
class FittingArea : public QScrollArea {
    Q_OBJECT
  public:
    explicit FittingArea(QWidget* parent = nullptr);
    static constexpr int stretch = 1000;

  protected:
    bool eventFilter(QObject* watched, QEvent* event) override;
    void resizeEvent(QResizeEvent* event) override;

  private:
    void fit();
};

namespace page {

// A column in the middle of `parent`, without margins of its own.
QVBoxLayout* readableColumn(QWidget* parent);
// A column inside a card, with the margins of all cards.
QVBoxLayout* cardColumn(QWidget* card);
// The same for a card with a table: the texts of its rows stand in line with the words added by addToTable().
QVBoxLayout* tableColumn(QWidget* card);
void addToTable(QBoxLayout* column, QWidget* words);
void addToTable(QBoxLayout* column, QLayout* row);
// As tall as its rows, up to `most`, beyond which it scrolls.
void fitRows(QTreeWidget* list, int most);
// Secondary text.
void quieten(QWidget* label);

} // namespace page

} // namespace espalier

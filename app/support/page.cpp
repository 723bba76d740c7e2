// SPDX-License-Identifier: MIT
#include "app/support/page.h"

#include "app/support/theme.h"

#include <QEvent>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QScrollBar>
#include <QTreeWidget>
#include <QVBoxLayout>

namespace espalier {

PageHead::PageHead(const QString& title, QWidget* parent)
    : Card(parent), m_title(new PlainLabel(title, this)), m_sentence(new PlainLabel(this)), m_row(new QHBoxLayout(this))
{
    const int space = theme::gap(this);
    m_row->setContentsMargins(space * 2, space * 3 / 2, space * 2, space * 3 / 2);
    m_row->setSpacing(space);
    auto* words = new QVBoxLayout;
    words->setSpacing(space / 2);
    m_title->setFont(theme::sized(font(), 1.35, true));
    m_sentence->setWrapped(true);
    m_sentence->hide();
    words->addWidget(m_title);
    words->addWidget(m_sentence);
    m_row->addLayout(words, 1);
}

void PageHead::setTitle(const QString& title) { m_title->setText(title); }

void PageHead::setSentence(const QString& sentence)
{
    m_sentence->setText(sentence);
    m_sentence->setVisible(!sentence.isEmpty());
}

void PageHead::addAction(QWidget* action) { m_row->addWidget(action, 0, Qt::AlignTop); }

FittingArea::FittingArea(QWidget* parent) : QScrollArea(parent)
{
    setWidgetResizable(true);
    setFrameShape(QFrame::NoFrame);
    setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    auto* inside = new QWidget(this);
    inside->installEventFilter(this);
    setWidget(inside);
}

bool FittingArea::eventFilter(QObject* watched, QEvent* event)
{
    const bool handled = QScrollArea::eventFilter(watched, event);
    if (watched == widget() && (event->type() == QEvent::LayoutRequest || event->type() == QEvent::Resize))
        fit();
    return handled;
}

void FittingArea::resizeEvent(QResizeEvent* event)
{
    QScrollArea::resizeEvent(event);
    fit();
}

void FittingArea::fit()
{
    const QLayout* layout = widget()->layout();
    if (!layout)
        return;
    const int wanted = layout->hasHeightForWidth() ? layout->totalHeightForWidth(viewport()->width())
                                                   : layout->totalSizeHint().height();
    if (maximumHeight() != wanted)
        setMaximumHeight(std::max(1, wanted));
}

namespace page {

QVBoxLayout* readableColumn(QWidget* parent)
{
    const int space = theme::gap(parent);
    auto* row = new QHBoxLayout(parent);
    row->setContentsMargins(0, 0, 0, 0);
    row->setSpacing(0);
    auto* middle = new QWidget(parent);
    middle->setMaximumWidth(space * 130);
    row->addStretch(1);
    row->addWidget(middle, 1000);
    row->addStretch(1);
    auto* column = new QVBoxLayout(middle);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space);
    return column;
}

QVBoxLayout* tableColumn(QWidget* card)
{
    const int space = theme::gap(card);
    auto* column = new QVBoxLayout(card);
    column->setContentsMargins(space, space * 3 / 2, space, space * 3 / 2);
    column->setSpacing(space);
    return column;
}

void addToTable(QBoxLayout* column, QWidget* words)
{
    const int space = theme::gap(words);
    words->setContentsMargins(space, 0, space, 0);
    column->addWidget(words);
}

void addToTable(QBoxLayout* column, QLayout* row)
{
    const int space = theme::gap(column->parentWidget());
    row->setContentsMargins(space, 0, space, 0);
    column->addLayout(row);
}

QVBoxLayout* cardColumn(QWidget* card)
{
    const int space = theme::gap(card);
    auto* column = new QVBoxLayout(card);
    column->setContentsMargins(space * 2, space * 3 / 2, space * 2, space * 3 / 2);
    column->setSpacing(space);
    return column;
}

void fitRows(QTreeWidget* list, int most)
{
    const int rows = list->topLevelItemCount();
    int height = list->header()->isHidden() ? 0 : list->header()->sizeHint().height();
    for (int i = 0; i < std::min(rows, most); ++i)
        height += std::max(list->sizeHintForIndex(list->indexFromItem(list->topLevelItem(i))).height(),
                           list->fontMetrics().height() * 17 / 10);
    list->setVerticalScrollBarPolicy(rows > most ? Qt::ScrollBarAsNeeded : Qt::ScrollBarAlwaysOff);
    list->setFixedHeight(height + 2 * list->frameWidth() + 2);
}

void quieten(QWidget* label) { theme::keepColour(label, QPalette::WindowText, theme::quiet); }

} // namespace page

} // namespace espalier
